"""Round-mates: rings that were rung together, and what they tell about each other's lag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Ints, Units


@dataclass(frozen=True, slots=True)
class Mates:
    """Per ring unit: how many paired round-mates it has, and their middle residual lag."""

    count: Ints
    shift_ms: Ints


def no_mates(count: int) -> Mates:
    """Nobody has any."""
    return Mates(np.zeros(count, np.int64), np.zeros(count, np.int64))


def rounds_of(units: Units) -> Ints:
    """A code for each round: same check (else terminal), each ring soon after the one before."""
    count = len(units.at)
    has = units.check > 0
    place = np.where(has, units.check, -1 - units.terminal)
    gap = 1_000 * np.where(has, priors.ROUND_GAP_S, priors.TERMINAL_GAP_S)
    order = np.lexsort((units.at, place))
    new = np.ones(count, np.bool_)
    new[1:] = (np.diff(place[order]) != 0) | (np.diff(units.at[order]) > gap[order][1:])
    found = np.zeros(count, np.int64)
    found[order] = np.cumsum(new) - 1
    return found


def mates_of(rounds: Ints, residual_ms: Ints, paired: Bools) -> Mates:
    """The median residual of each unit's paired round-mates, itself left out."""
    count = len(rounds)
    rows = np.flatnonzero(paired)
    rows = rows[np.lexsort((residual_ms[rows], rounds[rows]))]
    sizes = np.bincount(rounds[rows], minlength=int(rounds.max(initial=-1)) + 1)
    begin = np.cumsum(sizes) - sizes
    place = np.full(count, 1 << 40)
    place[rows] = np.arange(len(rows)) - begin[rounds[rows]]
    size, low = sizes[rounds], begin[rounds]
    others = size - paired
    # The k-th smallest of the others is the k-th of all, or the next one past the unit itself.
    first, second = (others - 1) // 2, others // 2
    first, second = first + (place <= first), second + (place <= second)
    values = np.append(residual_ms[rows], 0)
    some = others > 0
    middle = (values[np.where(some, low + first, -1)] + values[np.where(some, low + second, -1)]) // 2
    return Mates(others, np.where(some, middle, 0))
