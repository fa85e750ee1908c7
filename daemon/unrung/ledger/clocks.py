"""How the clocks of till and meters stand to each other on one day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ClockNote:
    """What the day taught about the clocks of one outlet or pool."""

    outlet: str
    offset_ms: int
    pairs: int
    jump_at_ms: int | None = None
    """By the till's clock."""
    jump_ms: int = 0
    doubt_ms: int = 0
    """By how much chance may have moved the offset."""

    def corrected(self, at_ms: int) -> int:
        """A till time by the meters' clock, less the usual lag."""
        jumped = self.jump_at_ms is not None and at_ms >= self.jump_at_ms
        return at_ms - self.offset_ms - (self.jump_ms if jumped else 0)

    def all_corrected(self, times_ms: Iterable[int]) -> list[int]:
        """``corrected`` of each."""
        if self.jump_at_ms is None:
            return [at_ms - self.offset_ms for at_ms in times_ms]
        return [*map(self.corrected, times_ms)]
