"""One business day made ready: serves built, clock and lag learnt, every price set.

A function of that day's rows alone, so that two neighbouring days read the same ``Prepared``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import best_assignment
from unrung.matching.columns import (
    NEVER_MS,
    Floats,
    Ints,
    Units,
    pour_columns,
    spread,
    unit_columns,
)
from unrung.matching.costs import (
    Glasses,
    Laws,
    Rings,
    glasses_of,
    order_key,
    possible_pairs,
    ring_bases,
)
from unrung.matching.fills import centres_of, learn_fills, size_lists
from unrung.matching.lags import Clockwork, coarse_centre, grid_s, laws_of, prior_density
from unrung.matching.serves import Serves, build_serves
from unrung.matching.types import Clock, MatchSettings, MeteredPour, RingUnit

MAX_LEARNING_PAIRS = 400_000


@dataclass(frozen=True, slots=True)
class Prepared:
    """One day of one outlet or pool; opaque to callers."""

    bounds: tuple[int, int]
    settings: MatchSettings
    products: tuple[str, ...]
    taps: tuple[str, ...]
    serves: Serves
    clock: Clock
    rings: Rings
    ring_key: Ints
    glasses: Glasses
    laws: Laws


def prepare(
    pours: Sequence[MeteredPour],
    units: Sequence[RingUnit],
    sizes: Mapping[str, Sequence[int]],
    bounds: tuple[int, int],
    settings: MatchSettings,
) -> Prepared:
    """Build the day's serves and learn its clock and lag.

    ``pours`` ended, and ``units`` were rung (by the till's own clock), within ``bounds``;
    ``sizes`` are the menu's portions of each product in microlitres.
    """
    products = tuple(sorted({p.product for p in pours} | {u.product for u in units}))
    poured, rung = pour_columns(pours, products), unit_columns(units, products)
    lists = size_lists(products, sizes, rung.product, rung.portion)
    fills = learn_fills(poured, lists)
    serves = build_serves(poured, fills, settings.top_up_gap_ms, bounds[0])
    glasses = glasses_of(serves.product, serves.end, serves.volume, fills)
    centre = centres_of(fills, rung.product, rung.portion)
    clockwork, clock = _learn_clock(rung, centre, glasses, settings)
    laws = laws_of(prior_density(grid_s(settings), settings)[None, :], settings)
    rings, order = _rings(rung, centre, clockwork)
    return Prepared(
        bounds, settings, products, poured.taps, serves, clock, rings, rung.key[order], glasses,
        laws,
    )


def _rings(units: Units, centre: Floats, clockwork: Clockwork) -> tuple[Rings, Ints]:
    expect = clockwork.expect(units.at)
    voided = units.voided < NEVER_MS
    latest = np.where(voided, clockwork.expect(np.where(voided, units.voided, 0)), NEVER_MS)
    base = ring_bases(local_rates(units), voided)
    order = np.lexsort((expect, units.product))
    rings = Rings(
        units.product[order], expect[order], expect[order], np.zeros(len(order), np.int64), base[order],
        centre[order], latest[order],
    )
    return rings, order


def local_rates(units: Units) -> Floats:
    """Rings of the same product per second around each ring."""
    if not len(units.at):
        return np.zeros(0)
    half = int(1_000 * priors.RATE_WINDOW_S)
    base = int(units.at.min()) - (1 << 35)
    keys = order_key(units.product, units.at, base)
    count = np.searchsorted(keys, keys + half, "right") - np.searchsorted(keys, keys - half)
    return count / (2 * priors.RATE_WINDOW_S)


def _learn_clock(
    units: Units, centre: Floats, glasses: Glasses, settings: MatchSettings
) -> tuple[Clockwork, Clock]:
    if settings.clock_offset_ms is not None:
        clockwork = Clockwork(settings.clock_offset_ms)
        return clockwork, Clock(offset_ms=settings.clock_offset_ms)
    lag_s, weight = _all_lags(units, centre, glasses)
    found = round(1_000 * coarse_centre(lag_s, weight))
    return Clockwork(found), Clock(offset_ms=found, pairs=len(lag_s))


def _all_lags(units: Units, centre: Floats, glasses: Glasses) -> tuple[Floats, Floats]:
    """Lags of rings after serves that fit their size, and the weight of each."""
    if not len(units.at) or not len(glasses.end):
        return np.zeros(0), np.zeros(0)
    reach = int(1_000 * priors.OFFSET_RANGE_S)
    base = min(int(units.at.min()), int(glasses.end.min())) - (1 << 35)
    keys = order_key(glasses.product, glasses.end, base)
    low = np.searchsorted(keys, order_key(units.product, units.at - reach, base))
    high = np.searchsorted(keys, order_key(units.product, units.at + reach, base))
    step = -(-int((high - low).sum()) // MAX_LEARNING_PAIRS) or 1
    picked = np.arange(0, len(units.at), step)
    row, glass = spread(low[picked], high[picked])
    ring = picked[row]
    fits = np.abs(glasses.log_volume[glass] - centre[ring]) < 0.25
    ring, glass = ring[fits], glass[fits]
    rate = np.bincount(ring, minlength=len(units.at)) / (2 * priors.OFFSET_RANGE_S)
    weight = np.log1p(1 / (rate[ring] * 2.5 * priors.LAG_SCALE_S))
    return (units.at[ring] - glasses.end[glass]) / 1_000, weight


def provisional(rings: Rings, glasses: Glasses, laws: Laws) -> Ints:
    """The day's own best assignment, neighbours left aside."""
    return best_assignment(possible_pairs(rings, glasses, laws), len(rings.product))
