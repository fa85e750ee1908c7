"""Which taps pour another beer than the tap list says, learnt from provisional pairs."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Ints
from unrung.matching.confusion import confused, own, swapped_lines
from unrung.matching.known import Known
from unrung.matching.serves import Serves
from unrung.matching.sides import Glasses, Rings, glasses_at, is_said, rings_at


def learn_swaps(
    known: Known, rings: Rings, glasses: Glasses, serves: Serves, partner: Ints, full: Bools, day: Ints
) -> Known:
    """Products that are confused, and on which taps. ``partner``: each ring's serve, or -1; ``full``: which
    serves are glasses; ``day``: which of the days each product is of."""
    right, real = own(rings, glasses, partner), ~is_said(rings)
    lone_glass = np.ones(len(glasses.end), np.bool_)
    lone_glass[right[right >= 0]] = False
    lone_ring = (right < 0) & real
    found: set[tuple[int, int]] = set()
    first = np.searchsorted(day, np.arange(len(known.laws.solo) + 1))
    rows, serve = (pairwise(np.searchsorted(side.product, first).tolist()) for side in (rings, glasses))
    for ring, glass in ((slice(*one), slice(*two)) for one, two in zip(rows, serve, strict=True)):
        rung_, poured_ = rings_at(rings, ring), glasses_at(glasses, glass)
        found.update(confused(rung_, poured_, lone_ring[ring], lone_glass[glass]))
        found.update(swapped_lines(rung_, poured_, serves.tap[glass], full[glass]))
    confusion, lone = tuple(sorted(found)), known.lines.lone
    poured = np.isin(np.arange(len(lone)), [product for _, product in confusion])[:, None]
    share = np.maximum(lone, priors.SWAPPED_FIRST)
    if known.confusion:
        before = np.isin(day, day[np.array(known.confusion)[:, 1]])
        foreign = partner[(right < 0) & (partner >= 0) & real]
        swapped, owned = (
            np.bincount(serves.product[rows] * lone.shape[1] + serves.tap[rows], minlength=lone.size)
            for rows in (foreign, right[(right >= 0) & real])
        )
        learnt = (swapped / (swapped + owned + priors.SWAPPED_PRIOR)).reshape(lone.shape)
        share = np.where(before[:, None], learnt, share)
    share = np.where(poured, np.clip(share, priors.LEAST_SWAPPED, priors.MOST_SWAPPED), 0.0)
    return replace(known, confusion=confusion, lines=replace(known.lines, swapped=share))
