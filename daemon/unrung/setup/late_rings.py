"""Whether a till tells only when a check was closed, which may be hours after its pours."""

from __future__ import annotations

from unrung.setup.draft import Draft
from unrung.setup.proposal import Tables

AFTER_MINUTES = 240
"""How long after its pour such a till's ring may come (common practice, no source: a table's evening)."""
_FEW = 0.8
"""Share of the beer that finds a ring soon after its pour, where checks are closed as they are opened."""
_SAID = frozenset(
    "closed close closing paid payment settled bezahlt abgerechnet cerrado pagado chiuso betaald".split()
)


def note_late_rings(draft: Draft, tables: Tables) -> None:
    """Write into ``tables`` whether the till's rings come late: its header says so, and few of them are seen
    to go with their pours."""
    if tables.found < _FEW and _SAID & draft.header_words("at"):
        tables.late_rings = True
        tables.remarks.append(
            "The till seems to tell only when a check was closed. So a ring may come "
            f"{AFTER_MINUTES} minutes after its pour: totals are compared, and no single pour is called "
            "unrung for sure."
        )
