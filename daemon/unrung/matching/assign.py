"""The cheapest one-to-one assignment of rings to serves, solved exactly.

Each ring has its edges and one private dummy (staying unpaired), so a full matching of the rings
always exists. A weight of zero would mean "no edge" to the sparse solver, hence the shift by one.
The problem falls apart where no edge spans a moment; the pieces are solved in blocks, which
changes nothing: gains add up over pieces.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import min_weight_full_bipartite_matching

from unrung.matching.columns import Ints
from unrung.matching.sides import Edges

BLOCK_RINGS = 256
"""Pieces are gathered up to about this many rings a call; the solver's time grows faster than
the number of rings, and a call costs about a tenth of a millisecond."""
STRETCH, AHEAD = 512, 128
"""See ``good_assignment``."""


def best_assignment(edges: Edges, rings: int) -> Ints:
    """For each ring the serve it is paired with, or -1: the greatest total gain.

    ``edges`` is sorted by ring, then serve.
    """
    partner = np.full(rings, -1, np.int64)
    bounds = _blocks(edges, rings)
    at = np.searchsorted(edges.ring, bounds).tolist()
    for (first, last), (low, high) in zip(pairwise(bounds.tolist()), pairwise(at), strict=True):
        if low < high:
            block = slice(low, high)
            partner[first:last] = _solve(
                edges.ring[block] - first, edges.glass[block], edges.gain[block], last - first
            )
    return partner


def best_by_day(edges: Edges, first: Ints) -> Ints:
    """``best_assignment`` of each day by itself; ``first``: each day's first ring, and how many there
    are."""
    partner = np.full(int(first[-1]), -1, np.int64)
    bounds, at = first.tolist(), np.searchsorted(edges.ring, first).tolist()
    for (begin, end), (low, high) in zip(pairwise(bounds), pairwise(at), strict=True):
        if low < high:
            own = Edges(edges.ring[low:high] - begin, edges.glass[low:high], edges.gain[low:high])
            partner[begin:end] = best_assignment(own, end - begin)
    return partner


def good_assignment(edges: Edges, rings: int) -> Ints:
    """Like ``best_assignment``, for crowds: solved in stretches of ``STRETCH`` rings, each with the
    ``AHEAD`` after it, whose partners are then given back. The time grows with the number of rings."""
    partner = np.full(rings, -1, np.int64)
    free = np.ones(int(edges.glass.max(initial=0)) + 1, np.bool_)
    for first in range(0, rings, STRETCH):
        last = min(first + STRETCH + AHEAD, rings)
        low, high = np.searchsorted(edges.ring, (first, last)).tolist()
        open_ = low + np.flatnonzero(free[edges.glass[low:high]])
        if len(open_):
            found = _solve(
                edges.ring[open_] - first, edges.glass[open_], edges.gain[open_], last - first
            )[:STRETCH]
            partner[first : first + STRETCH] = found
            free[found[found >= 0]] = False
    return partner


def total_gain(edges: Edges, partner: Ints) -> int:
    """The gain of an assignment made of ``edges``."""
    return int(edges.gain[partner[edges.ring] == edges.glass].sum())


def gain_by_day(edges: Edges, partner: Ints, day: Ints, days: int) -> Ints:
    """``total_gain`` of each day's; ``day``: of each ring."""
    chosen = partner[edges.ring] == edges.glass
    found = np.zeros(days, np.int64)
    np.add.at(found, day[edges.ring[chosen]], edges.gain[chosen])
    return found


def _blocks(edges: Edges, rings: int) -> Ints:
    """Ring indices at which the problem is cut: no serve has edges on both sides of a cut."""
    if not len(edges.ring):
        return np.array([0, rings])
    begin = np.flatnonzero(np.diff(edges.ring, prepend=-1))
    ring = edges.ring[begin]
    lowest = np.minimum.reduceat(edges.glass, begin)
    highest = np.maximum.accumulate(np.maximum.reduceat(edges.glass, begin))
    lowest = np.minimum.accumulate(lowest[::-1])[::-1]
    cuts = ring[1:][highest[:-1] < lowest[1:]]
    first = np.flatnonzero(np.diff(cuts // BLOCK_RINGS, prepend=-1))
    return np.concatenate(([0], cuts[first], [rings]))


def _solve(ring: Ints, glass: Ints, gain: Ints, rings: int) -> Ints:
    """One block: for each ring its serve, or -1."""
    least = int(glass.min())
    width = int(glass.max()) - least + 1
    top = int(gain.max())
    # Each row keeps its edges in order; its dummy, with the highest column, comes last.
    slots = np.arange(len(ring)) + ring
    ends = np.cumsum(np.bincount(ring, minlength=rings) + 1)
    weight = np.full(len(ring) + rings, float(top + 1))
    index = np.empty(len(ring) + rings, np.int32)
    weight[slots] = top - gain + 1
    index[slots] = glass - least
    index[ends - 1] = width + np.arange(rings)
    indptr = np.concatenate(([0], ends)).astype(np.int32)
    graph = csr_array((weight, index, indptr), shape=(rings, width + rings))
    _, picked = min_weight_full_bipartite_matching(graph)
    found: Ints = np.where(picked < width, picked + least, -1)
    return found
