"""Which pairs are looked at where a window holds so many serves that all pairs would be too many.

Serves of one size within a few minutes of each other are interchangeable then: which of them a ring
takes is open, and only how many find a ring matters. So a ring is offered those of its own size that are
nearest to its expected moment, and a few spread evenly over all it could reach, each ring others.
"""

from __future__ import annotations

import numpy as np

from unrung.matching.columns import Floats, Ints, spread


def cap_of(counts: Ints, most: int) -> int:
    """The largest number that each ring may have for all to have no more than ``most``, at least 1.

    >>> cap_of(np.array([1, 10, 10]), 15)
    7
    """
    if int(counts.sum()) <= most:
        return int(counts.max(initial=1))
    ordered = np.sort(counts)
    left = np.arange(len(ordered), 0, -1)
    total = np.cumsum(ordered) - ordered + ordered * left
    at = int(np.searchsorted(total, most, "right"))
    below = int(ordered[:at].sum())
    return max(1, (most - below) // int(left[at]))


def offered(
    first: Ints, last: Ints, near: Ints, product: Ints, centre: Floats, log_volume: Floats, most: int
) -> tuple[Ints, Ints]:
    """Pairs (ring, serve), sorted, no more than about ``most``.

    ``near``: the serve nearest to each ring's expected moment; ``centre``: log of what its glass holds.
    """
    counts = np.maximum(last - first, 0)
    cap = cap_of(counts, most)
    few = np.flatnonzero(counts <= cap)
    ring, glass = spread(first[few], last[few])
    if len(few) == len(counts):
        return ring, glass
    keys = [few[ring] * len(log_volume) + glass]
    for code in np.unique(product[counts > cap]).tolist():
        rows = np.flatnonzero((product == code) & (counts > cap))
        row, pick = _of_crowd(rows, first[rows], last[rows], near[rows], centre[rows], log_volume, cap)
        keys.append(rows[row] * len(log_volume) + pick)
    every = np.sort(np.concatenate(keys))
    return np.divmod(every[np.diff(every, prepend=-1) > 0], len(log_volume))


def _of_crowd(
    rows: Ints, first: Ints, last: Ints, near: Ints, centre: Floats, log_volume: Floats, cap: int
) -> tuple[Ints, Ints]:
    """For each of one product's rings up to ``cap`` serves: three quarters of them the nearest of its
    size, the others spread over all of its size, and over all."""
    base, sizes = int(first.min()), np.unique(centre)
    kind = np.searchsorted(sizes, centre)
    size_of = _nearest(sizes, log_volume[base : int(last.max())])
    few, more = -(-cap // 8), cap - 2 * -(-cap // 8)
    row, at = _evenly(first, last, rows, few)
    found = [(row, at)]
    for number in range(len(sizes)):
        mine, glass = np.flatnonzero(kind == number), base + np.flatnonzero(size_of == number)
        low, middle, high = (np.searchsorted(glass, edge[mine]) for edge in (first, near, last))
        begin = np.clip(middle - more // 2, low, np.maximum(high - more, low))
        for since, until, count in ((begin, np.minimum(begin + more, high), more), (low, high, few)):
            row, at = _evenly(since, until, rows[mine], count)
            found.append((mine[row], glass[at]))
    rows_, picks = (np.concatenate(part) for part in zip(*found, strict=True))
    return rows_, picks


def _nearest(sizes: Floats, log_volume: Floats) -> Ints:
    """The nearest of sorted ``sizes`` to each volume."""
    found: Ints = np.searchsorted((sizes[1:] + sizes[:-1]) / 2, log_volume)
    return found


GOLDEN = 0.6180339887498949


def _evenly(low: Ints, high: Ints, seed: Ints, count: int) -> tuple[Ints, Ints]:
    """Up to ``count`` places between ``low`` and ``high``, evenly apart, shifted from seed to seed."""
    size = np.maximum(high - low, 0)
    number = np.minimum(size, count)
    row, step = spread(np.zeros(len(low), np.int64), number)
    shift = (seed[row] * GOLDEN) % 1.0
    return row, low[row] + ((step + shift) * (size[row] / np.maximum(number[row], 1))).astype(np.int64)
