"""How likely each ring's lag is: both laws (see ``laws.py``) looked up for many pairs at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.laws import CLASSES, STEP_MS, Laws, bins, shared_solo
from unrung.matching.sides import Rings


class Lags(NamedTuple):
    """The laws of some rings, laid out to be looked up."""

    origin_ms: int
    bin_of: Ints
    """Bin of each ``STEP_MS`` of residual lag from ``origin_ms``; first and last: beyond the window."""
    solo: Floats
    """Of each law the densities of its bins, and a 0 for beyond the window; one law after the other."""
    mates: Floats
    """The same around the mates' lag, already multiplied by the share of rings that follow it."""
    row: Ints
    """Per ring, where its law begins."""
    mated: Bools
    """Per ring, whether it has a law around its mates' lag."""
    shift: Ints
    whole_round: Floats
    """Per ring; see ``_whole_round``."""


def lags_of(rings: Rings, laws: Laws) -> Lags:
    """The laws of ``rings``."""
    beyond = laws.solo.shape[1]
    return Lags(
        laws.scale.origin_ms - STEP_MS, np.concatenate(([beyond], laws.scale.bin_of, [beyond])),
        _laid_out(shared_solo(laws)), _laid_out(laws.mates), (beyond + 1) * rings.law,
        rings.law % CLASSES > 0, rings.shift, _whole_round(rings, laws),
    )


def density_of(lags: Lags, ring: Ints, residual: Ints) -> Floats:
    """Density (per second) of each residual lag (ms) of the rings with these numbers; 0 beyond the window."""
    row = lags.row[ring]
    density: Floats = lags.solo[row + _bin(lags, residual)]
    some = np.flatnonzero(lags.mated[ring])
    mated = ring[some]
    near = row[some] + _bin(lags, residual[some] - lags.shift[mated])
    density[some] += lags.mates[near] * lags.whole_round[mated]
    return density


def _bin(lags: Lags, residual: Ints) -> Ints:
    column = residual - lags.origin_ms
    column //= STEP_MS
    np.maximum(column, 0, out=column)
    np.minimum(column, len(lags.bin_of) - 1, out=column)
    found: Ints = lags.bin_of[column]
    return found


def _laid_out(table: Floats) -> Floats:
    found: Floats = np.concatenate((table, np.zeros((len(table), 1))), axis=1).ravel()
    return found


def _whole_round(rings: Rings, laws: Laws) -> Floats:
    """Per ring, its part of how unlikely it is that its round as a whole came so late or early.

    Lags of ``n`` mates are reasons for each other; that all of them lie where they do must be paid for
    once, so each pays an ``n``-th (of the logarithm of that lag's density per second, times
    ``ROUND_RARE``).
    """
    at, inside = bins(laws.scale, rings.shift)
    likely = np.where(inside, laws.solo[rings.law // CLASSES, at], 0.0)
    share = priors.ROUND_RARE * np.array((0.0, 1 / 2, 1 / 3, 0.0))[rings.law % CLASSES]
    found: Floats = np.maximum(likely, 1e-9) ** share
    return found
