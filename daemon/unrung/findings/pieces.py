"""Small second goes at a glass that were not joined to the first: pieces of it, not flows of their own."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

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


class Beside(NamedTuple):
    """A tap's lone flows on one day, by their numbers within the day."""

    short: list[tuple[int, int]]
    """Those beside a paired serve that lacks about as much: (flow, serve)."""
    following: list[tuple[int, int]]
    """Small ones that follow a glass within a minute: (flow, glass)."""
    late: int
    """How many came in the minute after that."""


def beside(serves: Sequence[ServeFact], keys: Sequence[int], alone: Iterable[int]) -> Beside:
    """What one tap's lone flows (``alone``) of a day stand beside; ``keys`` are all its serves."""
    found = Beside([], [], 0)
    late = 0
    for key in alone:
        at = bisect_left(keys, key)
        short = _short_beside(serves, keys, at)
        if short is not None:
            found.short.append((key, short))
            continue
        gap, before = _last_glass(serves, keys, at)
        if gap <= SOON_MS:
            found.following.append((key, before))
        late += SOON_MS < gap <= 2 * SOON_MS
    return found._replace(late=late)


def pieces_of(days: Iterable[tuple[int, Mapping[str, Beside]]]) -> dict[int, int]:
    """Lone small flow to the paired serve beside it on its tap that it belongs to. ``days``: key of each
    day's first serve, and what its lone flows stand beside, by tap.

    It does where the serve is short by about as much; and, at a tap where small flows follow glasses
    far more often than chance would have it, wherever it follows one soon.
    """
    found: dict[int, int] = {}
    following: dict[str, list[tuple[int, int]]] = defaultdict(list)
    late: Counter[str] = Counter()
    for first, taps in days:
        for tap, own in taps.items():
            found.update((first + key, first + serve) for key, serve in own.short)
            following[tap] += [(first + key, first + glass) for key, glass in own.following]
            late[tap] += own.late
    for tap, pairs in following.items():
        if len(pairs) >= FEWEST and len(pairs) > CLEAR * (late[tap] + 1):
            found.update(pairs)
    return found


def _short_beside(serves: Sequence[ServeFact], keys: Sequence[int], at: int) -> int | None:
    """The paired serve near by that lacks about what this flow holds."""
    piece = serves[keys[at]]
    lacks_ul = 0.5 * piece.volume_ul
    for beside in (*keys[max(0, at - 3) : at][::-1], *keys[at + 1 : at + 4]):
        other = serves[beside]
        if other.portion_ul - other.volume_ul >= lacks_ul and other.paired:
            if max(piece.start_ms - other.end_ms, other.start_ms - piece.end_ms) <= NEAR_MS:
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
