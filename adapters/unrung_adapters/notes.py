"""What a reader counts beside the rows that it gives."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class ReadNotes:
    """Counts of one export; pass one to ``read`` and look at it when the rows are through."""

    ambiguous: int = 0
    """Times that the clocks showed twice (autumn); a pass was chosen."""
    missing: int = 0
    """Times that the clocks never showed (spring); moved forward by the gap."""
    skipped: int = 0
    """Rows passed over: those that ``skip_rows`` names, blank ones, repeated headers."""
    columns: tuple[str, ...] = ()
    """The columns of a CSV with a header."""
    present: tuple[str, ...] = ()
    """Mapped fields that some row of a JSON document had."""
    absent: list[str] = field(default_factory=list)
    """Mapped fields that no row of a JSON document had: a renamed member, or rare data."""
