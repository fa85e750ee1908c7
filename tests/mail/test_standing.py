"""A matter that stays open is told when it is new and once a week, with its days and its cost."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from alerts.days import at, oz, venue_settings
from mail.samples import busy_day, mail_of
from mail.test_causes import row
from unrung.ledger.results import DayLedger, FindingRow
from unrung.mail.causes import CausesTold, causes_told
from unrung.mail.standing import Standing, still_kept

DAY_MS = 86_400_000


def leaking(day: int, ounces: float = 70.0, first: int = 0, **changes: object) -> DayLedger:
    """Day ``day`` of a leak that began on day ``first``; a litre costs 1.80."""
    found: FindingRow = row("leak", ounces, ounces, first_ms=at(20) + first * DAY_MS, **changes)
    base = busy_day()
    return replace(base, day=base.day + timedelta(days=day), findings=(found,))


def mails(days: list[DayLedger]) -> list[CausesTold]:
    known: dict[str, Standing] = {}
    told = []
    for day in days:
        told.append(causes_told(day, venue_settings(), known=still_kept(known, day.day)))
        known |= dict(told[-1].standing)
    return told


def test_a_finding_that_stays_is_told_on_the_first_day_and_then_weekly() -> None:
    told = mails([leaking(n) for n in range(16)])
    assert [n for n, one in enumerate(told) if one.actions] == [0, 7, 14]
    assert all(one.still_open for n, one in enumerate(told) if n not in (0, 7, 14))


def test_it_says_how_long_it_is_open_and_what_it_cost_so_far() -> None:
    """70 fl oz are 2.0701 L; at 1.80 a day of it costs 3.73, eight days 29.81."""
    told = mails([leaking(n) for n in range(9)])
    assert told[0].actions[0].since == ""
    assert told[7].actions[0].since == "open 8 days, about $30 so far"
    assert told[8].still_open == ("The leak (open 9 days, about $34 so far)",)


def test_a_mail_with_old_matters_alone_says_nothing_new_and_names_them() -> None:
    told = mails([leaking(n) for n in range(3)])[2]
    day = replace(busy_day(), leaves=busy_day().leaves[3:], findings=())
    mail = mail_of(day, actions=told.actions, still_open=told.still_open)
    assert ": nothing new to do, " in mail.subject and len(mail.subject) < 60
    assert "Nothing new to do." in mail.text
    assert "once a week: The leak (open 3 days" in " ".join(mail.text.split())
    assert "once a week: The leak (open 3 days" in mail.html


def test_one_that_began_anew_is_told_at_once() -> None:
    told = mails([leaking(0), leaking(1), leaking(2, first=2)])
    assert [len(one.actions) for one in told] == [1, 0, 1]


def test_one_that_doubles_is_told_at_once_where_it_is_worth_an_alert() -> None:
    assert [len(one.actions) for one in mails([leaking(0), leaking(1, 139), leaking(2, 141)])] == [1, 0, 1]
    few = mails([leaking(0, 10, total_ul=oz(80)), leaking(1, 30, total_ul=oz(80))])
    assert [len(one.actions) for one in few] == [1, 0]


def test_one_that_was_away_for_a_week_is_new() -> None:
    told = mails([leaking(0), leaking(8, first=8)])
    assert told[1].actions[0].since == "" and dict(told[1].standing).popitem()[1].cost_minor == 373


def test_a_days_mail_that_is_written_again_tells_the_same_and_counts_once() -> None:
    first, again = mails([leaking(0), leaking(0)])
    assert first.actions == again.actions and first.standing == again.standing


def test_two_clocks_apart_are_one_matter_whatever_the_seconds() -> None:
    days = [
        replace(leaking(n), findings=(row("clock_offset", 0, 0, headline=f"Clocks {240 + n} s apart",
                                          product="", tap="", first_ms=at(20)),))
        for n in range(3)
    ]
    assert [len(one.actions) for one in mails(days)] == [1, 0, 0]
