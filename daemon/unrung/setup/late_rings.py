"""Whether a till tells only when a check was closed, which may be hours after its pours."""

from __future__ import annotations

from unrung.setup.draft import Draft
from unrung.setup.proposal import Tables

AFTER_MINUTES = 240
"""How long after its pour such a till's ring may come (common practice, no source: a table's evening)."""
_SLACK_MINUTES = 20
TOTALS_MINUTES = 95
"""Beyond 90, where single pairs tell nothing (see ``window_after_minutes``)."""
_FEW = 0.8
"""Share of the beer that finds a ring soon after its pour, where checks are closed as they are opened."""
_SAID = frozenset(
    "closed close closing paid payment settled bezahlt abgerechnet cerrado pagado chiuso betaald".split()
)


def note_till_spans(minutes: int, tables: Tables) -> None:
    """Write into ``tables`` that the till counts over spans, so that a ring may come before its pour or after
    it by as much."""
    before, after = minutes + _SLACK_MINUTES, max(TOTALS_MINUTES, minutes + _SLACK_MINUTES)
    about = f"the till counts over {minutes} minutes"
    tables.matching += [
        ("window_before_minutes", str(before), about),
        ("window_after_minutes", str(after), "over 90: totals are compared, single pours are not told"),
    ]
    tables.remarks.insert(0, (
        f"The till counts what was sold in {minutes} minutes and tells no single sale: which beer a tap "
        "pours and how much an item takes is told by sums over the hours. Look through taps.csv and "
        "menu.csv. Totals are compared, and no single pour is called unrung for sure. An export of single "
        "lines, with the time of each, would tell much more."
    ))


def note_late_rings(draft: Draft, tables: Tables) -> None:
    """Write into ``tables`` whether the till's rings come late: its header says so, and few of them are seen
    to go with their pours."""
    if tables.found < _FEW and _SAID & draft.header_words("at"):
        tables.matching.append(
            ("window_after_minutes", str(AFTER_MINUTES), "the till tells when a check was closed"))
        tables.remarks.append(
            "The till seems to tell only when a check was closed. So a ring may come "
            f"{AFTER_MINUTES} minutes after its pour: totals are compared, and no single pour is called "
            "unrung for sure."
        )
