"""What the fixes in ``fixes.csv`` did to the findings that stood where they were made.

A fix is held against what was raised at its place in the days before it. Each such finding's cost is
counted per day, before and after (``fix_measure``), and the difference judged (``fix_effect``). A
finding that is gone is no longer raised on what lies before the fix; one that is not says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from unrung.findings.facts import DAYS, Facts
from unrung.findings.finding import Finding
from unrung.findings.fix_cases import Case, figure_of
from unrung.findings.fix_effect import Effect, effect
from unrung.findings.fix_measure import MEASURES, a_day_ul, daily
from unrung.findings.fix_words import event_words, measured_words, short_words, unmet_words
from unrung.ledger.facts import DayFacts
from unrung.ledger.results import FixNote, Verdict
from unrung.settings import Fix, Settings

EVENT_DAYS = 14
"""What happens now and then is gone where it was not seen for so long (common practice: lines are
cleaned every two weeks)."""


class Judged(NamedTuple):
    """A case with what became of it."""

    case: Case
    note: FixNote


def judge_measured(
    cases: Sequence[Case], days: Sequence[DayFacts], settings: Settings
) -> list[Judged]:
    """Cases that have a daily figure, or met nothing, as of the last of ``days``."""
    return [
        _measured(case, days, settings) if case.finding
        else Judged(case, _note(case.fix, "", "nothing_found", unmet_words(case.fix, settings)))
        for case in cases if case.finding in ("", *MEASURES)
    ]


def judge_events(
    cases: Sequence[Case], days: Sequence[DayFacts], settings: Settings, found: Sequence[Finding],
    facts: Facts,
) -> list[Judged]:
    """Cases of what happens now and then: seen again since, or not. ``found`` is what the last day
    raises."""
    return [
        _event(case, days, settings, found, facts) for case in cases if case.finding not in ("", *MEASURES)
    ]


def settled(judged: Sequence[Judged], one: Finding, facts: Facts) -> Finding:
    """The finding; only as far as the fix, where a fix closed what it rests on: it still explains those
    days, and no later one."""
    for case, note in judged:
        if note.verdict == "closed" and _closes(case, one, facts):
            end = _after(case, facts)
            kept = {key: ul for key, ul in one.serves.items() if facts.serves[key].end_ms < end}
            rings = frozenset(key for key in one.rings if facts.rings[key].at_ms < end)
            return replace(one, serves=kept, rings=rings, standing=False)
    return one


def told(judged: Sequence[Judged], one: Finding, facts: Facts) -> Finding:
    """The finding, with what a fix at its place did not do."""
    for case, note in judged:
        if note.verdict not in ("closed", "nothing_found") and _is_like(case, one, facts):
            return replace(one, evidence=f"{one.evidence} {short_words(note)}")
    return one


def _sides(
    case: Case, days: Sequence[DayFacts], settings: Settings
) -> tuple[list[DayFacts], list[DayFacts]]:
    """The days before the fix, from the finding's first on, and after it; another fix at the same place
    ends either side. The fix's own day is neither."""
    same = [
        other.day for other in settings.fixes
        if (other.tap.casefold(), other.product) == (case.fix.tap.casefold(), case.fix.product)
    ]
    start = max((day for day in same if day < case.fix.day), default=date.min)
    end = min((day for day in same if day > case.fix.day), default=date.max)
    before = [
        day for day in days if start < day.day < case.fix.day and day.bounds[1] > case.since_ms
    ]
    return before[-DAYS:], [day for day in days if case.fix.day < day.day < end]


def _measured(case: Case, days: Sequence[DayFacts], settings: Settings) -> Judged:
    measure = MEASURES[case.finding]
    before, after = (daily(side, case.place, measure) for side in _sides(case, days, settings))
    sides = [one.figure for one in before], [one.figure for one in after]
    verdict, found = _verdict(*sides)
    scale = a_day_ul([*before, *after], measure) if found else 0.0
    words = measured_words(
        case.fix, measure.name, verdict, _scaled(found, scale), (len(before), len(after)), settings)
    return Judged(case, _note(case.fix, case.finding, verdict, words))


def _verdict(before: list[float], after: list[float]) -> tuple[Verdict, Effect | None]:
    found = effect(before, after)
    return (found.verdict, found) if found else ("too_early", None)


def _scaled(found: Effect | None, scale: float) -> Effect | None:
    return Effect(*(scale * value for value in found)) if found else None


def _event(
    case: Case, days: Sequence[DayFacts], settings: Settings, found: Sequence[Finding], facts: Facts
) -> Judged:
    _, after = _sides(case, days, settings)
    start = after[0].bounds[0] if after else days[-1].bounds[1]
    again = any(one.last_ms >= start and _is_like(case, one, facts) for one in found)
    verdict: Verdict = "no_help" if again else "closed" if len(after) >= EVENT_DAYS else "too_early"
    words = event_words(case.fix, case.finding, verdict, len(after), EVENT_DAYS, settings)
    return Judged(case, _note(case.fix, case.finding, verdict, words))


def _is_like(case: Case, one: Finding, facts: Facts) -> bool:
    """Whether a finding is the case's: the same figure, at its place."""
    if not case.finding or figure_of(case.finding) != figure_of(one.finding):
        return False
    if not one.serves:
        return case.place.tap in ("", one.tap) and case.place.product in ("", one.product)
    return any(case.place.holds(facts.serves[key]) for key in one.serves)


def _closes(case: Case, one: Finding, facts: Facts) -> bool:
    """Whether it began before the fix, and all that it claims since lies where the fix was made."""
    if figure_of(case.finding) != figure_of(one.finding):
        return False
    end = _after(case, facts)
    since = [serve for key in one.serves if (serve := facts.serves[key]).end_ms >= end]
    return one.first_ms < end and bool(since) and all(case.place.holds(serve) for serve in since)


def _after(case: Case, facts: Facts) -> int:
    """When the first day after the fix began."""
    return min(day.bounds[0] for day in facts.window.days if day.day > case.fix.day)


def _note(fix: Fix, finding: str, verdict: Verdict, sentence: str) -> FixNote:
    return FixNote(fix.day, fix.what, fix.tap, fix.product, finding, verdict, sentence)
