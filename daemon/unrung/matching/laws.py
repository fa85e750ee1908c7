"""The law of lags: how long after (or before) its pour a ring comes, learnt from one day's pairs.

Two laws: of the lag around the day's centre, and, for rings with round-mates, of the lag around
the mates' own. A ring with mates follows the second in a share of cases, else the first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.clockwork import student
from unrung.matching.columns import Floats, Ints
from unrung.matching.types import MatchSettings

STEP_MS = 1_000
CLASSES = 4
"""Rings with 0, 1, 2, and 3 or more paired round-mates."""


@dataclass(frozen=True, slots=True)
class Laws:
    """Densities of residual lags per second; column ``k`` is from ``origin_ms + k * STEP_MS``.

    Of several days, the rows stand one day after the other: one of ``solo`` and ``CLASSES`` of
    ``mates`` and ``solo_share`` each.
    """

    origin_ms: int
    solo: Floats
    mates: Floats
    """Already multiplied by the share of rings that follow it."""
    solo_share: Floats


def prior_laws(settings: MatchSettings) -> Laws:
    """The law before the data speak."""
    solo = prior_density(grid_s(settings), settings)
    share = np.ones(CLASSES)
    return Laws(-settings.window_before_ms, solo[None, :], np.zeros((CLASSES, len(solo))), share)


def learn_laws(
    residual_s: Floats, weight: Floats, mates: Ints, shift_s: Floats, settings: MatchSettings
) -> Laws:
    """Both laws from likely pairs.

    ``residual_s``: lag less the day's centre; ``weight``: chance of the pair; ``mates``,
    ``shift_s``: how many round-mates its ring has, and their middle lag.
    """
    grid = grid_s(settings)
    solo = smooth_law(residual_s, weight, grid, prior_density(grid, settings))
    tables, shares = np.zeros((CLASSES, len(grid))), np.ones(CLASSES)
    kind = np.minimum(mates, CLASSES - 1)
    for count in range(1, CLASSES):
        rows = np.flatnonzero(kind == count)
        own = residual_s[rows]
        tables[count], shares[count] = _mates_law(
            own, own - shift_s[rows], weight[rows], grid, solo
        )
    return Laws(-settings.window_before_ms, solo[None, :], tables, shares)


def grid_s(settings: MatchSettings) -> Floats:
    """Middles of the columns of the tables, seconds."""
    count = -(-(settings.window_before_ms + settings.window_after_ms) // STEP_MS)
    found: Floats = -settings.window_before_ms / 1_000 + STEP_MS / 1_000 * (np.arange(count) + 0.5)
    return found


def prior_density(residual_s: Floats, settings: MatchSettings) -> Floats:
    """The law of residual lags before the data speak, per second."""
    span = (settings.window_before_ms + settings.window_after_ms) / 1_000
    wide, flat = priors.LAG_WIDE_SHARE, priors.LAG_FLAT_SHARE
    core = student(residual_s, priors.LAG_SCALE_S)
    found: Floats = (
        (1 - wide - flat) * core + wide * student(residual_s, priors.LAG_WIDE_S) + flat / span
    )
    return found


def smooth_law(values_s: Floats, weight: Floats, grid: Floats, prior: Floats) -> Floats:
    """A density over ``grid`` from weighted values and the prior, smoother further out.

    A kernel estimate on the scale asinh(lag / ``LAW_SCALE_S``): the width of the kernel grows
    with the distance from the centre.
    """
    scale, step = priors.LAW_SCALE_S, priors.LAW_STEP
    reach = float(np.arcsinh(np.abs(grid).max() / scale)) + 1.0
    edges = np.arange(-reach, reach + step, step)
    counts, _ = np.histogram(np.arcsinh(values_s / scale), edges, weights=weight)
    taps = np.arange(-40, 41) * step
    kernel = np.exp(-0.5 * (taps / priors.LAW_KERNEL) ** 2)
    smooth = np.convolve(counts, kernel / kernel.sum() / step, "same")
    middle = (edges[:-1] + edges[1:]) / 2
    inner = np.interp(np.arcsinh(grid / scale), middle, smooth) / np.hypot(grid, scale)
    total = float(weight.sum())
    found: Floats = (inner + priors.LAG_PRIOR * prior) / (total + priors.LAG_PRIOR)
    tail = priors.LAW_TAIL_SHARE
    return (1 - tail) * found + tail / 2 * (student(grid, priors.LAW_TAIL_S) + 1 / np.ptp(grid))


def _mates_law(
    own_s: Floats, apart_s: Floats, chance: Floats, grid: Floats, solo: Floats
) -> tuple[Floats, float]:
    """The law around the mates' lag times its share, and the share that follows the solo law."""
    prior = student(grid, priors.MATES_SCALE_S)
    share = priors.MATES_SHARE
    law = prior
    alone = at_grid(solo, own_s, grid)
    for _ in range(3):
        together = share * at_grid(law, apart_s, grid)
        weight = chance * together / (together + (1 - share) * alone)
        law = smooth_law(apart_s, weight, grid, prior)
        share = (float(weight.sum()) + priors.LAG_PRIOR * priors.MATES_SHARE) / (
            float(chance.sum()) + priors.LAG_PRIOR
        )
    return share * law, 1 - share


def at_grid(law: Floats, values_s: Floats, grid: Floats) -> Floats:
    """The density at each value; a trace outside the grid."""
    column: Ints = np.floor((values_s - grid[0]) * 1_000 / STEP_MS + 0.5).astype(np.int64)
    inside = (column >= 0) & (column < len(grid))
    found: Floats = np.where(inside, law[np.clip(column, 0, len(grid) - 1)], 1e-12)
    return found
