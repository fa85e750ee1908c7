"""A day's findings put into its ledger: its rows, and each lone pour and ring with its cause."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.fix_cases import cases_of
from unrung.findings.fixes import judge_events, judge_measured, settled, told
from unrung.findings.table import findings_of, rows_of_all
from unrung.ledger.facts import DayFacts
from unrung.ledger.results import DayLedger, Lone
from unrung.settings import Settings

_Mark = tuple[str, str, str, int, int]


def with_findings(
    ledger: DayLedger, before: Sequence[DayFacts], settings: Settings
) -> DayLedger:
    """``ledger`` with what explains it, and what the fixes did. ``before``: facts of earlier days, in
    order, from ``fix_cases.first_needed`` on; findings look at the last 27. The same arguments give the same
    ledger."""
    if ledger.facts is None:
        return ledger
    days = [*(day for day in before if day.day < ledger.day), ledger.facts]
    cases = cases_of(days, settings)
    judged = judge_measured(cases, days, settings)
    facts, found = findings_of(days, settings, partial(settled, judged))
    judged += judge_events(cases, days, settings, found, facts)
    found = [told(judged, one, facts) for one in found]
    marks = {mark: one.finding for one in found for mark in _marks(one, facts)}
    lone = tuple(replace(row, finding=marks.get(_mark(row), row.finding)) for row in ledger.lone)
    notes = sorted((note for _, note in judged), key=lambda note: note.day, reverse=True)
    return replace(
        ledger, lone=lone, findings=tuple(rows_of_all(facts, found)), fixes=tuple(notes)
    )


def _mark(row: Lone) -> _Mark:
    return (row.kind, row.outlet, row.product, row.at_ms, row.volume_ul)


def _marks(found: Finding, facts: Facts) -> Iterator[_Mark]:
    """The day's lone pours and rings that a finding explains, as the ledger lists them."""
    serves, rings = facts.window.today
    for key in found.serves:
        serve = facts.serves[key]
        if key in serves and serve.left_ul:
            yield ("pour", serve.outlet, serve.product, serve.end_ms, serve.left_ul)
    for key in found.rings:
        ring = facts.rings[key]
        if key in rings:
            yield ("ring", ring.outlet, ring.product, ring.line_ms, ring.portion_ul)
