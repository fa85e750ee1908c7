"""The offset of the two clocks, together with the usual lag, found from one day.

Near which lag do rings follow pours of their product more often than the flat background of
chance neighbours? The day's rings are cut into blocks of equal number, so that a clock that was
changed within the day shows as two centres, one before and one after.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import NEVER_MS, Bools, Floats, Ints, order_key, spread

BIN_S = 10.0
BLOCKS = 16
MAX_PAIRS = 300_000


class Centre(NamedTuple):
    """Where a day's lag is centred; times in milliseconds."""

    centre_ms: int
    jump_at_ms: int = NEVER_MS
    """By the till's clock."""
    jump_ms: int = 0


@dataclass(frozen=True, slots=True)
class Clockwork:
    """Where the lag is centred through each of the days; see ``Centre``."""

    centre_ms: Ints
    jump_at_ms: Ints
    jump_ms: Ints

    def corrected(self, at_ms: Ints, day: Ints) -> Ints:
        """Till times as the times at which the serves should have ended."""
        found: Ints = at_ms - self.centre_ms[day] - self.jump_ms[day] * self.after_jump(at_ms, day)
        return found

    def after_jump(self, at_ms: Ints, day: Ints) -> Bools:
        """Which till times are after the jump."""
        found: Bools = at_ms >= self.jump_at_ms[day]
        return found


def clockwork_of(centres: Sequence[Centre]) -> Clockwork:
    """The days' centres as arrays."""
    table = np.array(centres, np.int64).reshape(-1, 3)
    return Clockwork(table[:, 0], table[:, 1], table[:, 2])


@dataclass(frozen=True, slots=True)
class Lags:
    """Lags of rings after all serves near them that fit their size."""

    at_ms: Ints
    """Till times of all rings of the day, sorted."""
    ring: Ints
    """Index into ``at_ms``."""
    lag_s: Floats
    weight: Floats
    """Log likelihood ratio that a lag at the centre of the law brings."""


def pinned(offset_ms: int) -> Centre:
    """A clock that the venue has set: the till's lead and the usual lag."""
    return Centre(offset_ms + round(1_000 * priors.LAG_CENTRE_S))


def find_clock(lags: Lags) -> tuple[Centre, Centre | None]:
    """The likeliest steady centre; and a clock that jumped within the day, where that looks likely
    enough to be weighed with the pairs."""
    scores, middle = block_scores(lags)
    prior = log_offset_prior(middle)
    still = scores.sum(axis=0)
    best = int(np.argmax(still + prior))
    steady = Centre(round(1_000 * float(middle[best])))
    split = _best_split(scores, prior)
    if split is None:
        return steady, None
    at, first, second, worth = split
    apart = abs(float(middle[second] - middle[first]))
    reached = float((still + prior)[best])
    needed = max(priors.JUMP_WORTH, priors.JUMP_WORTH_SHARE * reached)
    if worth - reached < needed or apart < priors.JUMP_LEAST_S:
        return steady, None
    return steady, _with_jump(lags, float(middle[first]), float(middle[second]), at)


def all_lags(
    at: Ints, product: Ints, centre: Floats, poured: Ints, end: Ints, log_volume: Floats
) -> Lags:
    """Lags within the range searched; of very many, those of every k-th ring.

    ``at``, ``product``, ``centre``: the rings' till times, products and log of what such a glass
    holds. ``poured``, ``end``, ``log_volume``: the serves, sorted by product and end.
    """
    order = np.lexsort((product, at))
    at, product, centre = at[order], product[order], centre[order]
    if not len(at) or not len(end):
        return Lags(at, np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    reach = int(1_000 * priors.OFFSET_RANGE_S)
    base = min(int(at.min()), int(end.min())) - (1 << 35)
    keys = order_key(poured, end, base)
    low = np.searchsorted(keys, order_key(product, at - reach, base))
    high = np.searchsorted(keys, order_key(product, at + reach, base))
    step = max(1, -(-int((high - low).sum()) // MAX_PAIRS))
    picked = np.arange(0, len(at), step)
    row, glass = spread(low[picked], high[picked])
    ring = picked[row]
    fits = np.abs(log_volume[glass] - centre[ring]) < 0.25
    ring, glass = ring[fits], glass[fits]
    rate = np.bincount(ring, minlength=len(at)) / (2 * priors.OFFSET_RANGE_S)
    weight = np.log1p(1 / (np.maximum(rate, 1e-9) * 2.5 * priors.LAG_SCALE_S))
    return Lags(at, ring, (at[ring] - end[glass]) / 1_000, weight[ring])


def block_scores(lags: Lags) -> tuple[Floats, Floats]:
    """Excess score of every candidate centre (columns, seconds) per block of rings (rows)."""
    reach = priors.OFFSET_RANGE_S
    count = int(2 * reach / BIN_S)
    middle = -reach + BIN_S * (np.arange(count) + 0.5)
    column = np.clip(((lags.lag_s + reach) / BIN_S).astype(np.int64), 0, count - 1)
    block = lags.ring * BLOCKS // max(len(lags.at_ms), 1)
    cells = np.bincount(block * count + column, lags.weight, BLOCKS * count)
    taps = np.arange(-30, 31) * BIN_S
    narrow = student(taps, priors.LAG_SCALE_S * 1.3)
    narrow /= narrow.max()
    score = _smooth(cells.reshape(BLOCKS, count), narrow)
    level = _smooth(score, np.ones(181)) / _neighbours(count)
    excess: Floats = score - level
    return excess, middle


@lru_cache(maxsize=1)
def _neighbours(count: int) -> Floats:
    """How many bins the level around each is a mean of."""
    return _smooth(np.ones((1, count)), np.ones(181))


def log_offset_prior(centre_s: Floats) -> Floats:
    """Log density of the centre before the data speak."""
    off = centre_s - priors.LAG_CENTRE_S
    near, far = priors.OFFSET_NEAR_SHARE, priors.OFFSET_FAR_SHARE
    normal = [
        share * np.exp(-0.5 * (off / scale) ** 2) / scale / np.sqrt(2 * np.pi)
        for share, scale in ((near, priors.OFFSET_NEAR_S), (far, priors.OFFSET_FAR_S))
    ]
    found: Floats = np.log(
        normal[0] + normal[1] + (1 - near - far) / (2 * priors.OFFSET_RANGE_S)
    )
    return found


def student(x: Floats, scale: float) -> Floats:
    """Density of Student's t with 3 degrees of freedom."""
    found: Floats = 2 / (np.pi * np.sqrt(3) * scale) / (1 + (x / scale) ** 2 / 3) ** 2
    return found


def doubt_of_middle(values: Floats, count: float) -> float:
    """How far chance may have moved the median of ``values``, of which so many are independent: the further
    end of its distribution-free interval of four sigmas (of the sign test; a textbook's, from memory).

    >>> doubt_of_middle(np.arange(101.0), 100)  # 100 tosses: 50 heads, give or take 4 times 5
    20.0
    """
    if not len(values):
        return 0.0
    reach = 2 / np.sqrt(count)
    low, middle, high = np.quantile(values, (max(0.0, 0.5 - reach), 0.5, min(1.0, 0.5 + reach)))
    return float(max(middle - low, high - middle))


def _smooth(rows: Floats, kernel: Floats) -> Floats:
    """Each row convolved with an odd, symmetric kernel, same length."""
    length = 1 << int(np.ceil(np.log2(rows.shape[1] + len(kernel))))
    product = np.fft.rfft(rows, length, axis=1) * np.fft.rfft(kernel, length)
    half = len(kernel) // 2
    found: Floats = np.fft.irfft(product, length, axis=1)[:, half : half + rows.shape[1]]
    return found


def _best_split(scores: Floats, prior: Floats) -> tuple[int, int, int, float] | None:
    """Blocks before the jump, centre before and after, and the score of that."""
    if not scores.any():
        return None
    before = np.cumsum(scores, axis=0)[:-1]
    after = scores.sum(axis=0) - before
    first, second = np.argmax(before + prior, axis=1), np.argmax(after + prior, axis=1)
    rows = np.arange(len(before))
    worth = before[rows, first] + after[rows, second] + np.minimum(prior[first], prior[second])
    at = int(np.argmax(worth))
    return at + 1, int(first[at]), int(second[at]), float(worth[at])


def _with_jump(lags: Lags, first_s: float, second_s: float, block: int) -> Centre:
    """The moment of the jump: where the rings change from one centre to the other."""
    count = len(lags.at_ms)
    gain = [
        np.bincount(
            lags.ring, lags.weight * student(lags.lag_s - centre, priors.LAG_SCALE_S), count
        )
        for centre in (first_s, second_s)
    ]
    lead = np.concatenate(([0.0], np.cumsum(gain[0] - gain[1])))
    low, high = ((block + step) * count // BLOCKS for step in (-1, 1))
    split = low + int(np.argmax(lead[low : high + 1]))
    split = min(max(split, 1), count - 1)
    at = (int(lags.at_ms[split - 1]) + int(lags.at_ms[split]) + 1) // 2
    return Centre(round(1_000 * first_s), at, round(1_000 * (second_s - first_s)))
