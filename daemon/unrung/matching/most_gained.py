"""More than any ring could bring to a serve, told from coarse times.

Far more ways of cutting are thought of than gain anything. This bound costs a step per ring and stretch
of time in place of one per pair, and spares the pairs of nearly all that gain nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unrung.matching.columns import Bools, Floats, Ints, spread
from unrung.matching.costs import Worths, millinats, reach_of
from unrung.matching.lag_density import Lags, lags_of
from unrung.matching.laws import STEP_MS, Laws
from unrung.matching.sides import Glasses, Rings

STRETCH_MS = 120 * STEP_MS
NOTHING = -(1 << 40)
TWO_TERMS = 694
"""Millinats: a sum of two densities is no more than twice the greater."""


class Cells(NamedTuple):
    """Stretches of time, each by kind of ring: those in which serves of its product ended."""

    first: Ints
    """Per kind, the first stretch; beyond ``last`` where there is none."""
    last: Ints
    zero: Ints
    """Per kind, the cell of what would be stretch 0."""
    best: Ints
    """Per cell, the most that a ring of the kind brings to a serve in it, but for the serve's worth."""


def most_gained(rings: Rings, glasses: Glasses, laws: Laws, worths: Worths, near: Bools) -> Ints:
    """Per serve, no less than the gain of any of its ``possible_pairs``; 0 where there is none."""
    found = np.zeros(len(glasses.end), np.int64)
    if not len(found) or not len(rings.product):
        return found
    lags, stretch = lags_of(rings, laws), glasses.end // STRETCH_MS
    cells = _cells(worths, stretch)
    low, high = reach_of(rings, laws, worths, near)
    solo = rings.base + np.where(lags.mated, TWO_TERMS, 0)
    _enter(cells, worths.kind, rings.corrected, low, high, solo, lags, lags.solo)
    some = np.flatnonzero(lags.mated)
    shift, whole_round = rings.shift[some], millinats(np.log(lags.whole_round[some])) + 1
    _enter(
        cells, worths.kind[some], rings.corrected[some] - shift, low[some] - shift, high[some] - shift,
        solo[some] + whole_round, lags._replace(row=lags.row[some]), lags.mates,
    )
    kind, glass = spread(worths.low, worths.high)
    np.maximum.at(found, glass, worths.gain + cells.best[cells.zero[kind] + stretch[glass]])
    return found


def _cells(worths: Worths, stretch: Ints) -> Cells:
    """Cells in which nothing is entered yet. ``stretch``: of each serve."""
    some = worths.high > worths.low
    first = np.where(some, stretch[np.where(some, worths.low, 0)], 0)
    last = np.where(some, stretch[worths.high - 1], -1)
    until = np.cumsum(last - first + 1)
    return Cells(first, last, until - 1 - last, np.full(int(until[-1]), NOTHING))


def _enter(
    cells: Cells, kind: Ints, expected: Ints, low: Ints, high: Ints, base: Ints, lags: Lags, table: Floats
) -> None:
    """Enter what rings bring into the cells within their reach. ``expected``: from when (ms) their lags,
    between ``low`` and ``high``, are told; ``table``: the law's, as in ``lags``."""
    at = expected // STRETCH_MS
    # A lag in stretch n lies between times that are n or n + 1 stretches apart.
    begin, most = _likeliest(lags, table)
    soon = np.maximum(np.maximum(low // STRETCH_MS, at - cells.last[kind]), begin)
    late = np.minimum(np.minimum(high // STRETCH_MS + 1, at - cells.first[kind]), begin + most.shape[1] - 1)
    ring, apart = spread(soon, late + 1)
    law = lags.row // (lags.bin_of[0] + 1)
    gain = base[ring] + most[law[ring], apart - begin]
    np.maximum.at(cells.best, cells.zero[kind[ring]] + at[ring] - apart, gain)


def _likeliest(lags: Lags, table: Floats) -> tuple[int, Ints]:
    """The fewest stretches that a ring and its serve can be apart (with sign), and per law and number of
    stretches from there on, no less than the millinats of any such lag's density."""
    inside = lags.bin_of[1:-1]
    start, end = lags.origin_ms + STEP_MS, lags.origin_ms + STEP_MS * (len(inside) + 1)
    first, last = start // STRETCH_MS, (end - 1) // STRETCH_MS
    edge = (np.arange(first, last + 2) * STRETCH_MS - start) // STEP_MS
    low, high = inside[np.maximum(edge[:-1], 0)], inside[np.minimum(edge[1:], len(inside) - 1)] + 1
    laws = table.reshape(-1, lags.bin_of[0] + 1)
    most = np.maximum.reduceat(laws, np.stack((low, high), axis=1).ravel(), axis=1)[:, ::2]
    none = np.zeros((len(laws), 1))
    most = np.maximum(np.concatenate((most, none), axis=1), np.concatenate((none, most), axis=1))
    return first, millinats(np.log(np.maximum(most, 1e-300))) + 1
