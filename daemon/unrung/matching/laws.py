"""The law of lags: how long after (or before) its pour a ring comes, learnt from one day's pairs.

Two laws: of the lag around the day's centre, and, for rings with round-mates, of the lag around
the mates' own. A ring with mates follows the second in a share of cases, else the first. Laws
are histograms on the scale asinh(lag / ``LAW_SCALE_S``): fine near the centre, coarse far out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from unrung.matching import priors
from unrung.matching.clockwork import student
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.types import MatchSettings

STEP_MS = 1_000
CLASSES, SAID = 4, 3
"""Rings with 0, 1, and 2 or more paired round-mates; and log entries."""


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The bins of a law within the venue's window, one object a window. Lags in seconds."""

    origin_ms: int
    bin_of: Ints
    """Bin of each ``STEP_MS`` of residual lag from ``origin_ms``."""
    edge_s: Floats
    """Lower edges of the bins, and the upper edge of the last."""
    middle_s: Floats
    width_s: Floats
    """What of each bin lies within the window."""


@dataclass(frozen=True, slots=True)
class Laws:
    """Densities of residual lags per second, per bin.

    Of several days, the rows stand one day after the other: one of ``solo`` and ``CLASSES`` of
    ``mates`` and ``solo_share`` each.
    """

    scale: Scale
    solo: Floats
    mates: Floats
    """Already multiplied by the share of rings that follow it."""
    solo_share: Floats


@lru_cache(maxsize=16)
def scale_of(before_ms: int, after_ms: int) -> Scale:
    """The bins for a window from ``before_ms`` before the expected time to ``after_ms`` after."""
    seconds = (-before_ms + STEP_MS * np.arange(-(-(before_ms + after_ms) // STEP_MS))) / 1_000
    step = priors.LAW_STEP
    fine = np.floor(np.arcsinh((seconds + STEP_MS / 2_000) / priors.LAW_SCALE_S) / step)
    # Near the centre a bin is narrower than a second: there, each second is one.
    _, first, bin_of, count = np.unique(fine, return_index=True, return_inverse=True, return_counts=True)
    edge = np.append(seconds[first], after_ms / 1_000)
    return Scale(-before_ms, bin_of, edge, (edge[:-1] + edge[1:]) / 2, count * STEP_MS / 1_000)


def bins(scale: Scale, residual_ms: Ints) -> tuple[Ints, Bools]:
    """The bin of each residual lag, and whether it lies in the window at all."""
    column = (residual_ms - scale.origin_ms) // STEP_MS
    inside = (column >= 0) & (column < len(scale.bin_of))
    return scale.bin_of[np.where(inside, column, 0)], inside


def shared_solo(laws: Laws) -> Floats:
    """Per law, the densities around its day's centre times the share of rings that follow them."""
    found: Floats = laws.solo_share[:, None] * np.repeat(laws.solo, CLASSES, axis=0)
    return found


def prior_laws(settings: MatchSettings, days: int = 1) -> Laws:
    """Each day's law before the data speak."""
    scale = scale_of(settings.window_before_ms, settings.window_after_ms)
    solo = _solo_prior(scale)
    tables, shares = _said_laws(scale, settings, len(solo))
    return Laws(scale, np.tile(solo, (days, 1)), np.tile(tables, (days, 1)), np.tile(shares, days))


def flat_laws(settings: MatchSettings) -> Laws:
    """Any lag within the window is as likely as any other."""
    law = prior_laws(settings)
    return Laws(law.scale, np.full_like(law.solo, 1 / law.scale.width_s.sum()), law.mates, law.solo_share)


def usual_ms(laws: Laws) -> Ints:
    """The middle residual lag of each day's law."""
    until = np.cumsum(laws.solo * laws.scale.width_s, axis=1)
    at = [np.searchsorted(row, row[-1] / 2) for row in until]
    found: Ints = (1_000 * laws.scale.middle_s[at]).astype(np.int64)
    return found


def _said_laws(scale: Scale, settings: MatchSettings, bins: int) -> tuple[Floats, Floats]:
    """Tables and shares in which only the law of log entries stands: most are written down soon
    after the pour, a few before it."""
    tables, shares = np.zeros((CLASSES, bins)), np.ones(CLASSES)
    before, after = settings.entry_before_ms / 1_000, settings.entry_after_ms / 1_000
    at, early = scale.middle_s, priors.SAID_EARLY
    late = np.where((at >= 0) & (at <= before), np.exp(-priors.SAID_DECAY * at / max(before, 1.0)), 0.0)
    soon = np.where((at < 0) & (at >= -after), np.exp(priors.SAID_DECAY * at / max(after, 1.0)), 0.0)
    for side, share in ((late, 1 - early), (soon, early)):
        tables[SAID] += share * side / max(float((side * scale.width_s).sum()), 1e-9)
    shares[SAID] = 0.0
    return tables, shares


def learn_laws(
    before: Laws, days: Sequence[int], day: Ints, residual_ms: Ints, chance: Floats, mates: Ints,
    shift_ms: Ints,
) -> Laws:
    """Both laws of each of ``days`` from likely pairs, whose days are in order.

    ``residual_ms``: lag less the day's centre; ``chance`` of the pair; ``mates``, ``shift_ms``:
    how many round-mates its ring has, and their middle lag.
    """
    scale = before.scale
    solos, tables, shares = before.solo.copy(), before.mates.copy(), before.solo_share.copy()
    own, inside = bins(scale, residual_ms)
    near, also = bins(scale, residual_ms - shift_ms)
    some = np.flatnonzero(inside)
    smooth, _ = _smooth(scale, day[some], own[some], chance[some], len(solos), _solo_prior(scale))
    solos[days] = smooth[days]
    kind = np.minimum(mates, SAID - 1)
    some = np.flatnonzero(inside & also & (kind > 0))
    alone = solos[day[some], own[some]]
    mated = _mates_laws(scale, CLASSES * day[some] + kind[some], near[some], chance[some], alone, len(tables))
    rows = (CLASSES * np.array(days)[:, None] + np.arange(1, SAID)).ravel()
    tables[rows], shares[rows] = mated[0][rows], mated[1][rows]
    return Laws(scale, solos, tables, shares)


@lru_cache(maxsize=16)
def _solo_prior(scale: Scale) -> Floats:
    at, wide, flat = scale.middle_s, priors.LAG_WIDE_SHARE, priors.LAG_FLAT_SHARE
    core = student(at, priors.LAG_SCALE_S)
    found: Floats = (
        (1 - wide - flat) * core + wide * student(at, priors.LAG_WIDE_S)
        + flat / (scale.edge_s[-1] - scale.edge_s[0])
    )
    return found


def _smooth(
    scale: Scale, row: Ints, at: Ints, weight: Floats, rows: int, prior: Floats
) -> tuple[Floats, Floats]:
    """Densities per row and bin from weighted lags, the prior, and a share of tail that no day teaches; and
    the weight of each row."""
    counts = np.bincount(row * len(prior) + at, weight, rows * len(prior)).reshape(rows, -1)
    weights = np.bincount(row, weight, rows)
    learnt = _smoothed(counts) / _smooth_width(scale) + priors.LAG_PRIOR * prior
    learnt /= (weights + priors.LAG_PRIOR)[:, None]
    return (1 - priors.LAW_TAIL_SHARE) * learnt + _tail(scale), weights


@lru_cache(maxsize=16)
def _smooth_width(scale: Scale) -> Floats:
    """Smoothed like the counts: neighbouring bins may be one and two seconds wide."""
    return _smoothed(scale.width_s[None])


def _smoothed(rows: Floats) -> Floats:
    """Each row by itself: so many zeros stand between them that none reaches into the next."""
    kernel = _kernel()
    reach = len(kernel) // 2
    apart = np.zeros((len(rows), rows.shape[1] + 2 * reach))
    apart[:, reach:-reach] = rows
    found: Floats = np.convolve(apart.ravel(), kernel, "same").reshape(apart.shape)[:, reach:-reach]
    return found


@lru_cache(maxsize=1)
def _kernel() -> Floats:
    reach = int(4 * priors.LAW_KERNEL / priors.LAW_STEP)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * priors.LAW_STEP / priors.LAW_KERNEL) ** 2)
    found: Floats = kernel / kernel.sum()
    return found


@lru_cache(maxsize=16)
def _tail(scale: Scale) -> Floats:
    span = scale.edge_s[-1] - scale.edge_s[0]
    found: Floats = priors.LAW_TAIL_SHARE / 2 * (student(scale.middle_s, priors.LAW_TAIL_S) + 1 / span)
    return found


@lru_cache(maxsize=16)
def _mates_prior(scale: Scale) -> Floats:
    return student(scale.middle_s, priors.MATES_SCALE_S)


def _mates_laws(
    scale: Scale, row: Ints, near: Ints, chance: Floats, alone: Floats, rows: int
) -> tuple[Floats, Floats]:
    """Per row, the law around the mates' lag times its share, and the share that follows the solo law, whose
    density at each lag is ``alone``."""
    prior = _mates_prior(scale)
    share, law = np.full(rows, priors.MATES_SHARE), np.tile(prior, (rows, 1))
    known = np.bincount(row, chance, rows) + priors.LAG_PRIOR
    for _ in range(priors.MATES_ROUNDS):
        together = share[row] * law[row, near]
        weight = chance * together / (together + (1 - share[row]) * alone)
        law, weights = _smooth(scale, row, near, weight, rows, prior)
        share = (weights + priors.LAG_PRIOR * priors.MATES_SHARE) / known
    return share[:, None] * law, 1 - share
