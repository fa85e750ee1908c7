"""Which taps pour another beer than the tap list says, learnt from provisional pairs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Ints
from unrung.matching.confusion import confused, own, swapped_lines
from unrung.matching.costs import Glasses, Rings, is_said
from unrung.matching.known import Known
from unrung.matching.serves import Serves


def learn_swaps(
    known: Known, rings: Rings, glasses: Glasses, serves: Serves, partner: Ints, full: Bools
) -> Known:
    """Products that are confused, and on which taps. ``partner``: each ring's serve, or -1; ``full``: which
    serves are glasses."""
    right, real = own(rings, glasses, partner), ~is_said(rings)
    lone_glass = np.ones(len(glasses.end), np.bool_)
    lone_glass[right[right >= 0]] = False
    confusion = tuple(sorted({
        *confused(rings, glasses, (right < 0) & real, lone_glass),
        *swapped_lines(rings, glasses, serves.tap, full),
    }))
    lone = known.lines.lone
    poured = np.isin(np.arange(len(lone)), [product for _, product in confusion])[:, None]
    share = np.maximum(lone, priors.SWAPPED_FIRST)
    if known.confusion:
        foreign = partner[(right < 0) & (partner >= 0) & real]
        swapped, owned = (
            np.bincount(serves.product[rows] * lone.shape[1] + serves.tap[rows], minlength=lone.size)
            for rows in (foreign, right[(right >= 0) & real])
        )
        share = (swapped / (swapped + owned + priors.SWAPPED_PRIOR)).reshape(lone.shape)
    share = np.where(poured, np.clip(share, priors.LEAST_SWAPPED, priors.MOST_SWAPPED), 0.0)
    return replace(known, confusion=confusion, lines=replace(known.lines, swapped=share))
