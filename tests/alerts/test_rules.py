from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from alerts.days import at, leaf_at, ledger_of, lone_pour, oz, venue_settings
from unrung.alerts.rules import History, Raised, judge_day, not_judged
from unrung.alerts.state import OpenAlert
from unrung.ledger.results import DayLedger, Leaf, Volumes
from unrung.settings import Alert, Settings

LEARNT = History(days_of_data=30, venue_shares=(0.01,) * 28)


def rule(per: str, **limits: float) -> Settings:
    """A venue with one rule, named after what it is judged on."""
    exact = {
        name: limit if name in ("min_serves", "hold_days") else Decimal(str(limit))
        for name, limit in limits.items()
    }
    return venue_settings(alert=(Alert(name=per, per=per, **exact),))


def day_of(not_rung_ul: int, matched_ul: int, low_ul: int = 1, **more: int) -> DayLedger:
    """One product in one hour, in microlitres."""
    volumes = Volumes(matched_portion=matched_ul, poured_not_rung=not_rung_ul, **more)
    ledger = ledger_of(Leaf(at(20), 60, "Main Bar", "Stout", volumes))
    return replace(ledger, products=(replace(ledger.products[0], poured_not_rung_low=low_ul),))


def judged(ledger: DayLedger, settings: Settings, history: History = LEARNT) -> list[Raised]:
    return judge_day(ledger, settings, history)


@pytest.mark.parametrize(
    ("not_rung_ul", "matched_ul", "raised"),
    [
        (3_000_000, 97_000_000, 1),  # exactly 3 %
        (2_999_999, 97_000_001, 0),
        (3_000_001, 96_999_999, 1),
        (0, 97_000_000, 0),
    ],
)
def test_a_percent_limit_is_met_by_equality(not_rung_ul: int, matched_ul: int, raised: int) -> None:
    assert len(judged(day_of(not_rung_ul, matched_ul), rule("product_day", min_pct=3))) == raised


@pytest.mark.parametrize(
    ("limit", "short_ul", "raised"),
    [(64, 0, 1), (64, 1, 0), (64, -1, 1), (10, 0, 1), (10, 1, 0)],
)
def test_a_volume_limit_is_met_by_equality(limit: int, short_ul: int, raised: int) -> None:
    day = day_of(oz(limit) - short_ul, oz(100))
    assert len(judged(day, rule("product_day", min_volume=limit))) == raised


def test_volume_limits_are_in_the_venues_unit() -> None:
    settings = rule("product_day", min_volume=2)
    litres = settings.model_copy(
        update={"venue": settings.venue.model_copy(update={"volume_unit": "l"})}
    )
    assert judged(day_of(1_999_999, 10_000_000), litres) == []
    assert len(judged(day_of(2_000_000, 10_000_000), litres)) == 1


@pytest.mark.parametrize(("low_ul", "raised"), [(0, 0), (1, 1)])
def test_nothing_is_raised_where_the_low_end_is_zero(low_ul: int, raised: int) -> None:
    assert len(judged(day_of(oz(90), oz(900), low_ul), rule("product_day", min_pct=3))) == raised


def test_all_set_limits_must_be_passed() -> None:
    both = rule("product_day", min_pct=3, min_volume=64)
    assert judged(day_of(oz(63), oz(100)), both) == []
    assert judged(day_of(oz(65), oz(9_000)), both) == []
    assert len(judged(day_of(oz(65), oz(100)), both)) == 1


def test_water_and_beer_not_compared_make_no_share() -> None:
    """3 of 100 L compared; another 900 L of cleaning water and unmetered beer change nothing."""
    day = day_of(
        3_000_000, 97_000_000, not_beer=600_000_000, poured_not_compared=300_000_000
    )
    assert judged(day, rule("product_day", min_pct=3))[0].share == 0.03


def test_a_product_that_was_not_compared_raises_nothing() -> None:
    assert judged(day_of(0, 0, poured_not_compared=oz(900)), venue_settings()) == []


@pytest.mark.parametrize(
    ("missing", "raised"),
    [
        ((), 1),
        (("no sales from 'till' for 30 Oct",), 0),
        (("no pours from 'meters' for 30 Oct",), 0),
        (("no log entries from 'notebook' for 30 Oct",), 1),
        (("no log entries from 'notebook' for 30 Oct", "no sales from 'till' for 30 Oct"), 0),
        (("a feed is silent",), 0),
    ],
)
def test_a_day_with_a_ring_or_pour_feed_missing_is_not_judged(
    missing: tuple[str, ...], raised: int
) -> None:
    day = replace(day_of(oz(90), oz(900)), missing=missing)
    settings = rule("product_day", min_pct=3)
    assert len(judged(day, settings)) == raised
    assert bool(not_judged(day, settings, LEARNT)) == (not raised)


def test_a_missing_log_is_said_beside_the_alert() -> None:
    day = replace(day_of(oz(90), oz(900)), missing=("no log entries from 'notebook'",))
    assert "notebook" in judged(day, rule("product_day", min_pct=3))[0].sentence


@pytest.mark.parametrize(("days", "raised"), [(1, 0), (14, 0), (15, 1)])
def test_no_loss_alert_in_the_first_fourteen_days(days: int, raised: int) -> None:
    settings = rule("product_day", min_pct=3)
    assert len(judged(day_of(oz(90), oz(900)), settings, History(days))) == raised


def test_while_learning_the_reason_is_said() -> None:
    said = not_judged(day_of(1, 1), venue_settings(), History(days_of_data=5))
    assert "day 5 of data" in said and "first 14" in said


@pytest.mark.parametrize(
    ("usual", "share_pct", "raised"),
    [(0.01, 2, 1), (0.02, 3, 0), (0.02, 4, 1), (0.0, 2, 1), (0.0, 1, 0)],
)
def test_a_venue_day_is_judged_against_twice_its_own_median(
    usual: float, share_pct: int, raised: int
) -> None:
    day = day_of(share_pct * 1_000_000, (100 - share_pct) * 1_000_000)
    settings = rule("venue_day", min_pct=2, times_median=2)
    history = History(30, (usual,) * 28)
    assert len(judged(day, settings, history)) == raised


def test_only_the_last_28_days_make_the_usual_level() -> None:
    history = History(60, (0.5,) * 100 + (0.01,) * 28)
    assert len(judged(day_of(3, 97), rule("venue_day", min_pct=2, times_median=2), history)) == 1


def test_without_past_days_there_is_no_usual_level_to_pass() -> None:
    settings = rule("venue_day", min_pct=2, times_median=2)
    assert judged(day_of(30, 70), settings, History(30, (0.01,) * 6)) == []
    assert len(judged(day_of(30, 70), settings, History(30, (0.01,) * 7))) == 1


@pytest.mark.parametrize(("logged_ul", "raised"), [(4_000_000, 0), (4_000_001, 1)])
def test_the_logged_share_must_be_above_its_limit(logged_ul: int, raised: int) -> None:
    day = day_of(0, 100_000_000 - logged_ul, low_ul=0, logged=logged_ul)
    assert len(judged(day, rule("logged_share", min_pct=4))) == raised


def test_two_hours_are_found_across_windows_and_the_worst_are_named() -> None:
    leaves = [leaf_at(h, matched_portion=90, poured_not_rung=20) for h in (18, 21, 22)]
    leaves += [leaf_at(h, matched_portion=300) for h in (17, 19, 20, 23)]
    pours = tuple(lone_pour(h + m / 10) for h in (18, 21, 22) for m in range(1, 5))
    found = judged(
        ledger_of(*leaves, low=55, lone=pours), rule("two_hours", min_pct=10, min_serves=6)
    )
    assert [(one.window_start_ms, one.volume_ul, one.serves) for one in found] == [
        (at(21), oz(20) * 2, 8)
    ]
    assert "9:00 PM to 11:00 PM" in found[0].sentence


@pytest.mark.parametrize(("serves", "raised"), [(5, 0), (6, 1)])
def test_two_hours_need_enough_serves(serves: int, raised: int) -> None:
    pours = (*(lone_pour(21 + m / 10) for m in range(serves)), lone_pour(21.9, amount=2))
    day = ledger_of(leaf_at(21, matched_portion=90, poured_not_rung=90), low=80, lone=pours)
    assert len(judged(day, rule("two_hours", min_pct=10, min_serves=6))) == raised


def test_the_days_doubt_counts_in_full_against_two_hours() -> None:
    """60 of the day's 100 fl oz may be noise: 50 in the two hours could all be part of it."""
    leaves = (leaf_at(12, poured_not_rung=50, matched_portion=50),
              leaf_at(21, poured_not_rung=50, matched_portion=50))
    settings = rule("two_hours", min_pct=10)
    assert judged(ledger_of(*leaves, low=40), settings) == []
    assert len(judged(ledger_of(*leaves, low=60), settings)) == 1


def test_windows_longer_than_two_hours_make_no_two_hours() -> None:
    leaf = replace(leaf_at(21, poured_not_rung=90, matched_portion=90), window_minutes=240)
    assert judged(ledger_of(leaf, low=80), rule("two_hours", min_pct=10)) == []


@pytest.mark.parametrize(
    ("not_rung", "already_open", "raised"),
    [(64, False, 1), (60, False, 0), (60, True, 1), (51.2, True, 1), (51, True, 0)],
)
def test_an_open_alert_clears_only_below_four_fifths(
    not_rung: float, already_open: bool, raised: int
) -> None:
    settings = rule("product_day", min_volume=64)
    key = judged(day_of(oz(99), oz(100)), settings)[0].key
    standing = {key: OpenAlert(oz(64), oz(64))} if already_open else {}
    history = replace(LEARNT, open=standing)
    assert len(judged(day_of(oz(not_rung), oz(100)), settings, history)) == raised


def test_the_key_of_a_product_is_the_same_on_every_day_and_of_two_hours_is_not() -> None:
    day = ledger_of(
        leaf_at(21, matched_portion=90, poured_not_rung=90), low=80, lone=(lone_pour(21.2),)
    )
    later = replace(day, day=day.day.replace(day=29))
    keys = {per: [judged(one, rule(per, min_pct=3))[0].key for one in (day, later)]
            for per in ("product_day", "two_hours")}
    assert keys["product_day"][0] == keys["product_day"][1]
    assert keys["two_hours"][0] != keys["two_hours"][1]


def test_the_largest_volume_comes_first() -> None:
    day = ledger_of(
        leaf_at(20, "Ale", matched_portion=10, poured_not_rung=70),
        leaf_at(20, "Stout", matched_portion=10, poured_not_rung=90),
    )
    assert [one.product for one in judged(day, venue_settings())[:2]] == ["Stout", "Ale"]


@pytest.mark.parametrize("per", ["product_day", "venue_day", "two_hours", "logged_share"])
def test_sentences_are_neutral_and_name_no_person(per: str) -> None:
    day = ledger_of(
        leaf_at(21, matched_portion=90, poured_not_rung=90, logged=20), low=80,
        lone=(lone_pour(21.2),),
    )
    said = judged(day, rule(per, min_pct=3))[0].sentence.lower()
    assert ("unexplained volume" in said) == (per != "logged_share")
    words = ("theft", "steal", "stole", "staff member", "culprit", "suspect", "fraud")
    assert not any(word in said for word in words)
