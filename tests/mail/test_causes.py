"""Findings in the morning mail: the costliest first, each with its check, no place told twice."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from alerts.days import at, leaf_at, ledger_of, lone_pour, venue_settings
from mail.samples import LEARNT, busy_day, mail_of
from unrung.alerts.rules import judge_day
from unrung.findings.advice import ADVICE
from unrung.ledger.explained import explained_ul
from unrung.ledger.results import DayLedger, FindingRow
from unrung.mail.actions import worst_first
from unrung.mail.causes import causes_told, without_repeats

OZ = 29_573.5295625


def row(finding: str, ounces: float, total: float | None = None, **changes: Any) -> FindingRow:
    advice = ADVICE[finding]
    values: dict[str, Any] = {
        "finding": finding, "outlet": "Main Bar", "product": "Stout", "tap": "4",
        "volume_ul": round(ounces * OZ), "confidence": "high", "evidence": "12 of 40 pints.",
        "check_first": advice.check_first, "caution": advice.caution, "minutes": advice.minutes,
        "total_ul": round((ounces if total is None else total) * OZ), "headline": f"The {finding}",
    }
    return FindingRow(**(values | changes))


def day_with(*found: FindingRow) -> DayLedger:
    return replace(busy_day(), findings=found)


def test_the_costliest_cause_comes_first_and_rows_of_one_finding_are_one_action() -> None:
    day = day_with(
        row("leak", 70), row("samples", 60, 100, tap="", headline="Tasters"),
        row("samples", 40, 100, tap="", product="Pale Ale", headline="Tasters"),
    )
    first, second = causes_told(day, venue_settings()).actions
    assert first.title.replace("\u00a0", " ") == "Tasters: 100 fl oz"
    assert second.title.replace("\u00a0", " ") == "The leak: 70 fl oz"
    assert second.place == "Main Bar, tap 4"


def test_rows_of_one_finding_are_one_action_though_others_stand_between() -> None:
    rows = [row("samples", 60, 100, tap="", product=beer, outlet=bar, headline="Tasters")
            for beer, bar in (("Stout", "Main Bar"), ("Stout", "Terrace"), ("Pale Ale", "Main Bar"))]
    actions = causes_told(day_with(*rows), venue_settings()).actions
    titles = [one.title.replace("\u00a0", " ") for one in actions]
    assert titles == ["Tasters: 120 fl oz", "Tasters: 60 fl oz"]


def test_what_is_short_is_told_without_a_sign() -> None:
    (one,) = causes_told(day_with(row("feed_gap", -218, headline="Meter silent")), venue_settings()).actions
    assert one.title.replace("\u00a0", " ") == "Meter silent: 218 fl oz" and one.cost_minor is None


def test_a_cause_explains_over_less_short_and_of_another_name_the_larger() -> None:
    pairs = (("samples", 20), ("mis_ring", 59))
    found = [explained_ul([row(name, 60), row(name, -short)]) for name, short in pairs]
    assert [round(one / OZ, 3) for one in found] == [40, 60]


def test_an_action_says_where_how_long_what_to_check_and_what_to_mind() -> None:
    actions = causes_told(day_with(row("leak", 90)), venue_settings()).actions
    text = " ".join(mail_of(day_with(), actions=actions).text.split())
    assert "Main Bar, tap 4 · 5 min" in text
    assert "12 of 40 pints." in text and "does it drip?" in text
    assert "gas off, vented" in text and "CO2 alarm" in text


def test_a_little_that_never_came_to_an_alert_is_left_to_the_file() -> None:
    assert causes_told(day_with(row("samples", 4, 20)), venue_settings()).actions == ()
    assert len(causes_told(day_with(row("samples", 4, 200)), venue_settings()).actions) == 1


def test_beer_under_another_name_is_no_loss_and_is_told_among_the_first_all_the_same() -> None:
    """A pint of stout rung as pale ale: what is over of one is short of the other, at other prices."""
    day = day_with(
        row("mis_ring", 300, 900, tap=""), row("mis_ring", -299.9, 900, tap="", product="Pale Ale"),
        row("samples", 60, 100, tap="4", headline="Tasters"),
    )
    told = causes_told(day, venue_settings())
    first, second = worst_first(told.actions)
    assert first.title.replace("\u00a0", " ") == "The mis_ring: 300 fl oz"
    assert first.cost_minor is None and second.cost_minor
    costs = {key: one.cost_minor for key, one in told.standing}
    assert [cost > 0 for cost in costs.values()] == [False, True]


def test_what_a_cause_cost_so_far_goes_by_the_mean_price_of_its_beers() -> None:
    """Also where one day's rows are over and under, and nearly cancel."""
    rows = [row("top_ups", 20, 100), row("top_ups", -19.9, 100, product="Pale Ale")]
    prices = {it.product: it.cost_minor_per_litre for it in busy_day().products if it.outlet == "Main Bar"}
    (_, one), = causes_told(day_with(*rows), venue_settings()).standing
    litres = 100 * OZ / 1e6
    assert min(prices["Stout"], prices["Pale Ale"]) * litres <= one.cost_minor + 1
    assert one.cost_minor - 1 <= max(prices["Stout"], prices["Pale Ale"]) * litres


def test_beer_that_only_a_meter_counted_cost_nothing() -> None:
    wrong, unsure = row("meter_calibration", 90), row("meter_calibration", 90, confidence="low")
    assert [causes_told(day_with(one), venue_settings()).actions[0].cost_minor is None
            for one in (wrong, unsure)] == [True, False]


def test_causes_with_the_same_words_are_told_apart_by_their_place() -> None:
    began = busy_day().leaves[0].window_start_ms
    rows = [row("samples", 60, 100, tap="", outlet=bar, headline="Tasters", first_ms=began)
            for bar in ("Main Bar", "Terrace")]
    told = causes_told(day_with(*rows), venue_settings())
    later = replace(day_with(*rows), day=busy_day().day + timedelta(days=1))
    still = causes_told(later, venue_settings(), known=dict(told.standing)).still_open
    assert sorted(one.partition(" (")[0] for one in still) == ["Tasters, Main Bar", "Tasters, Terrace"]


def test_serves_without_a_ring_wait_until_the_venue_is_known() -> None:
    day = day_with(row("serves_without_ring", 90), row("leak", 90))
    titles = [one.title for one in causes_told(day, venue_settings(), judged=False).actions]
    assert [title.partition(":")[0] for title in titles] == ["The leak"]


def test_a_wrong_clock_costs_nothing_and_is_told_last() -> None:
    clock = row("clock_offset", 0, 0, product="", tap="", headline="Clock 240 s off")
    titles = [one.title for one in causes_told(day_with(clock, row("leak", 90)), venue_settings()).actions]
    assert titles[1] == "Clock 240 s off"


def test_a_doubtful_finding_says_so() -> None:
    day = day_with(row("meter_calibration", 90, confidence="low"))
    (action,) = causes_told(day, venue_settings()).actions
    assert action.detail.endswith("Another reading explains it as well.")


def test_an_alert_whose_beer_a_finding_explains_is_not_listed_twice() -> None:
    raised = judge_day(busy_day(), venue_settings(), LEARNT)
    assert [one.product for one in raised if one.product] == ["Stout"]
    told = without_repeats(raised, day_with(row("leak", 80)))
    assert not [one for one in told if one.product == "Stout"]


def test_two_hours_that_a_cleaning_explains_are_not_told_as_serves() -> None:
    """What lies within them does; what went on all day says nothing of them."""
    day = ledger_of(leaf_at(25, matched_portion=100, poured_not_rung=150), low=140,
                    lone=tuple(lone_pour(25 + n / 20) for n in range(8)))
    raised = [one for one in judge_day(day, venue_settings(), LEARNT) if one.window_start_ms is not None]
    assert len(raised) == 1
    within = row("unlogged_cleaning", 150, first_ms=at(25.8), last_ms=at(26.1))
    all_day = row("unlogged_cleaning", 150, first_ms=at(12), last_ms=at(26.1))
    assert without_repeats(raised, replace(day, findings=(within,))) == []
    assert without_repeats(raised, replace(day, findings=(all_day,))) == raised


def test_an_alert_stays_where_findings_explain_little_of_it_or_lie_elsewhere() -> None:
    raised = judge_day(busy_day(), venue_settings(), LEARNT)
    assert without_repeats(raised, day_with(row("leak", 10))) == raised
    elsewhere = without_repeats(raised, day_with(row("leak", 80, product="Pilsner")))
    assert [one for one in elsewhere if one.product] == [one for one in raised if one.product]


def test_findings_without_a_known_cost_are_ordered_by_volume() -> None:
    day = replace(ledger_of(leaf_at(20, matched_portion=950)), findings=(row("leak", 70), row("samples", 90)))
    assert [one.title.partition(":")[0] for one in causes_told(day, venue_settings()).actions] == [
        "The samples", "The leak"]
