"""The edge after a closed period: which ring units cross it is settled once and never again.

A serve belongs to the day in which its pour ended, so only rings cross an edge between days. At a
sealed edge those that did when the period was closed are handed over, and each side is then matched
by itself: what comes later on one side uses no ring of the other a second time, and moves none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from unrung.ledger.rings import Unit

EARLY, LATE = "early", "late"
Edge = Mapping[int, str]
"""Key of a ring unit that crosses, to the side it belongs to."""


class Handed(NamedTuple):
    """What one day hands over and is handed at its sealed edges."""

    taken_in: tuple[Unit, ...] = ()
    """Units of a neighbour's lines."""
    given_away: frozenset[int] = frozenset()
    """Keys of its own units."""
    start: bool = False
    """Whether the edge before the day is sealed."""
    end: bool = False


NOTHING = Handed()


def handed(start: Edge | None, end: Edge | None, neighbours: Iterable[Unit]) -> Handed:
    """What a day's edges (None: not sealed) mean for it. ``neighbours``: units of the days beside."""
    comes = _going(start, LATE) | _going(end, EARLY)
    goes = _going(start, EARLY) | _going(end, LATE)
    taken = tuple(unit for unit in neighbours if unit.key in comes)
    return Handed(taken, frozenset(goes), start is not None, end is not None)


def _going(edge: Edge | None, side: str) -> set[int]:
    return {key for key, goes in (edge or {}).items() if goes == side}
