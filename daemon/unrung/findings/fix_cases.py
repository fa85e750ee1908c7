"""Which findings stood where a fix was made, and from when on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from unrung.finding_names import SHOWN
from unrung.findings.facts import DAYS, Facts, first_day
from unrung.findings.finding import Finding
from unrung.findings.fix_measure import MEASURES, Place
from unrung.findings.table import findings_of
from unrung.ledger.facts import DayFacts
from unrung.settings import Fix, Settings

RECENT_MS = 7 * 86_400_000
"""A finding stood at the fix where it was last seen within this time before it."""


class Case(NamedTuple):
    """One finding at the place of one fix."""

    fix: Fix
    finding: str
    place: Place
    since_ms: int
    """When the finding began."""


def first_needed(day: date, settings: Settings) -> date:
    """The first business day whose facts the findings of ``day`` look at, fixes included."""
    before = (fix.day - timedelta(days=DAYS) for fix in recent(settings, day))
    return min((first_day(day), *before))


def cases_of(days: Sequence[DayFacts], settings: Settings) -> list[Case]:
    """Every fix of the four weeks before the last of ``days`` (in order, from ``first_needed`` on) with
    what stood there; a fix that met nothing has one case without a finding."""
    found = []
    for fix in recent(settings, days[-1].day):
        found += _cases(fix, [day for day in days if day.day < fix.day], settings)
    return found


def recent(settings: Settings, day: date) -> list[Fix]:
    """The newest first."""
    near = [fix for fix in settings.fixes if fix.day < day <= fix.day + timedelta(days=DAYS)]
    return sorted(near, key=lambda fix: fix.day, reverse=True)


def _cases(fix: Fix, before: Sequence[DayFacts], settings: Settings) -> list[Case]:
    """What stood at the fix, one case per figure; what it names itself, where nothing did."""
    found: dict[str, Case] = {}
    if before and before[-1].day >= fix.day - timedelta(days=DAYS):
        facts, made = findings_of(before, settings)
        standing = [
            one for one in made
            if one.last_ms >= facts.day.bounds[1] - RECENT_MS and _touches(fix, one, facts)
        ]
        for one in sorted(standing, key=lambda one: SHOWN.index(one.finding)):
            case = Case(fix, one.finding, _place(fix, one, facts), one.first_ms)
            found.setdefault(figure_of(one.finding), case)
        if fix.finding in MEASURES and not found:
            place = Place("", _tap(fix, facts), fix.product)
            found[fix.finding] = Case(fix, fix.finding, place, facts.window.days[0].bounds[0])
    return list(found.values()) or [Case(fix, "", Place(""), 0)]


def figure_of(finding: str) -> str:
    """Findings told by one daily figure bear one name."""
    return MEASURES[finding].name if finding in MEASURES else finding


def _tap(fix: Fix, facts: Facts) -> str:
    return facts.window.tap_named.get(fix.tap.casefold(), fix.tap)


def _touches(fix: Fix, one: Finding, facts: Facts) -> bool:
    """Whether a finding lies where the fix was made. One that names no tap is met by a fix at a tap only
    where the fix names the finding."""
    if fix.finding and figure_of(fix.finding) != figure_of(one.finding):
        return False
    tap = _tap(fix, facts)
    places = {(facts.serves[key].tap, facts.serves[key].product) for key in one.serves}
    return any(
        (tap in ("", at) or (at == "" and fix.finding != "")) and fix.product in ("", product)
        for at, product in places or {(one.tap, one.product)}
    )


def _place(fix: Fix, one: Finding, facts: Facts) -> Place:
    tap = _tap(fix, facts) or one.tap
    product = fix.product or ("" if tap else one.product)
    drinks = {(facts.serves[key].item, facts.serves[key].size) for key in one.serves}
    if one.finding == "portion_setting" and len(drinks) == 1:
        return Place(one.outlet, tap, product, *drinks.pop())
    return Place(one.outlet, tap, product)
