"""Small second goes at a glass that were not joined to the first: pieces of it, not flows of their own."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence

from unrung.ledger.facts import ServeFact

NEAR_MS = 75_000
"""A second go at a glass comes within this time on its tap (common practice, no source)."""
SOON_MS = 60_000
LEAST, OF_GLASS = 0.04, 0.32
"""A piece is such a share of the glass that it fills up: less is a drip, more another glass."""
FEWEST = 8
CLEAR = 3
"""Small flows follow a glass by more than chance at a tap where so many times more of them come
within a minute of it than in the next minute."""


def pieces_of(
    serves: Sequence[ServeFact], by_tap: Mapping[str, Sequence[int]], alone: Mapping[str, Iterable[int]]
) -> dict[int, int]:
    """Lone small flow to the paired serve beside it on its tap that it belongs to. ``by_tap`` and
    ``alone`` are the keys of each tap's serves, and of those of which all is left, in order.

    It does where the serve is short by about as much; and, at a tap where small flows follow glasses
    far more often than chance would have it, wherever it follows one soon.
    """
    found: dict[int, int] = {}
    for tap, keys in by_tap.items():
        following: list[tuple[int, int]] = []
        late = 0
        for key in alone.get(tap, ()):
            at = bisect_left(keys, key)
            short = _short_beside(serves, keys, at)
            if short is not None:
                found[key] = short
                continue
            gap, before = _last_glass(serves, keys, at)
            if gap <= SOON_MS:
                following.append((key, before))
            late += SOON_MS < gap <= 2 * SOON_MS
        if len(following) >= FEWEST and len(following) > CLEAR * (late + 1):
            found.update(following)
    return found


def _short_beside(serves: Sequence[ServeFact], keys: Sequence[int], at: int) -> int | None:
    """The paired serve near by that lacks about what this flow holds."""
    piece = serves[keys[at]]
    for beside in (*keys[max(0, at - 3) : at][::-1], *keys[at + 1 : at + 4]):
        other = serves[beside]
        gap = max(piece.start_ms - other.end_ms, other.start_ms - piece.end_ms)
        if gap <= NEAR_MS and other.paired and other.difference_ul <= -0.5 * piece.volume_ul:
            return beside
    return None


def _last_glass(serves: Sequence[ServeFact], keys: Sequence[int], at: int) -> tuple[int, int]:
    """(pause since, key of) the paired serve that a small flow follows; a long pause where none."""
    piece = serves[keys[at]]
    for before in keys[max(0, at - 3) : at][::-1]:
        other = serves[before]
        small = LEAST <= piece.volume_ul / (piece.volume_ul + other.volume_ul) <= OF_GLASS
        if other.paired and other.end_ms <= piece.start_ms and small:
            return piece.start_ms - other.end_ms, before
    return 1 << 40, -1
