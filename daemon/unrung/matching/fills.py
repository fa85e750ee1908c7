"""How likely a volume is: as a glass of a size, as a taster, a drip, or anything else.

All densities are over the natural logarithm of the volume.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, medians

NO_SIZE = 1e3
"""Centre of a size that is not there: far from every volume."""
ROOT_2PI = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class Sizes:
    """What can be sold, one object for all days. Shapes: (products, sizes), padded with ``nan`` and 0."""

    size_ul: Floats
    rung_share: Floats
    """Share of each size among the product's rings."""
    day: Ints
    """Which of the days each product belongs to."""
    days: int = 1


@dataclass(frozen=True, slots=True)
class Fills:
    """What glasses of each product hold. Shapes: (products, sizes), padded with ``nan`` and ``NO_SIZE``."""

    size_ul: Floats
    centre: Floats
    """Log of the volume that a glass of this size holds in practice."""
    share: Floats
    """Of the product's pours; 0 where padded."""
    odd: Floats
    """(products, 3): shares of tasters, drips and other flows."""
    day: Ints
    """Which of the days each product belongs to."""
    spread: Floats
    """Per day, standard deviation of the log of an ordinary glass."""
    shift: Floats
    """(products, taps): how much more (log) glasses from this tap hold than the sizes set, all
    sizes alike: a generous hand, or a meter that is off."""


def normal(x: Floats, spread: float | Floats) -> Floats:
    """Density of a normal distribution around 0."""
    found: Floats = np.exp(-0.5 * (x / spread) ** 2) / (spread * ROOT_2PI)
    return found


def fill_density(deviation: Floats, spread: float | Floats) -> Floats:
    """Density of log(volume) less the log of what such a glass holds."""
    wide, factor = priors.FILL_WIDE_SHARE, priors.FILL_WIDE_FACTOR
    return (1 - wide) * normal(deviation, spread) + wide * normal(deviation, spread * factor)


FILL_STEP, FILL_REACH = 0.004, 1.2
"""Resolution and reach of the table of ``log_fill``."""


@lru_cache(maxsize=1)
def _fill_table() -> Floats:
    at = np.arange(-FILL_REACH, FILL_REACH + FILL_STEP / 2, FILL_STEP)
    right = 1 - priors.WRONG_SIZE - priors.RUNG_ODD
    found: Floats = np.log(np.maximum(right * fill_density(at, priors.FILL_SPREAD), 1e-40))
    return found


def log_fill(deviation: Floats) -> Floats:
    """Log density of a rung glass of its size, by log(volume) less the log of what such a glass holds."""
    table = _fill_table()
    at = deviation + FILL_REACH
    at /= FILL_STEP
    np.rint(at, out=at)
    found: Floats = table[np.clip(at, 0, len(table) - 1, out=at).astype(np.int64)]
    return found


def sized_density(
    fills: Fills, product: Ints, log_volume: Floats, spread: Floats | None = None
) -> Floats:
    """Density of ``log_volume`` as one glass of any of the product's sizes; ``spread``: per day."""
    each = (fills.spread if spread is None else spread)[fills.day][product]
    found = np.zeros(len(product))
    for centre, share in zip(fills.centre.T, fills.share.T, strict=True):
        found += share[product] * fill_density(log_volume - centre[product], each)
    return found


def deviations(fills: Fills, product: Ints, log_volume: Floats) -> Floats:
    """Log of each volume less that of the nearest size (far without sizes)."""
    off = log_volume[:, None] - fills.centre[product]
    found: Floats = off[np.arange(len(off)), np.argmin(np.abs(off), axis=1)]
    return found


def odd_density(fills: Fills, product: Ints, log_volume: Floats) -> Floats:
    """Density of ``log_volume`` as a flow that is no glass."""
    taster, tiny, other = fills.odd[product].T
    flat = 1 / priors.ODD_LOG_RANGE
    small = log_volume < np.log(priors.TINY_UL)
    bump = normal(log_volume - np.log(priors.TASTER_UL), priors.TASTER_SPREAD)
    found: Floats = taster * bump + np.where(small, tiny / 3.0, 0.0) + other * flat
    return found


def stray_density(fills: Fills, product: Ints, log_volume: Floats, run_off: Bools) -> Floats:
    """Density of ``log_volume`` as a flow that is no glass; ``run_off``: right after a keg went on."""
    found: Floats = odd_density(fills, product, log_volume) + priors.RUN_OFF_DENSITY * run_off
    return found


def filled(fills: Fills, product: Ints, tap: Ints, volume: Ints) -> Floats:
    """Log of each volume, less what is usual for its tap."""
    found: Floats = np.log(np.maximum(volume, 1)) - fills.shift[product, tap]
    return found


def learn_fills(pours: Pours, whole: Bools, sizes: Sizes) -> Fills:
    """Size shares and how far each set portion is off, from the day's ``whole`` pours."""
    log_size = np.log(sizes.size_ul)
    product, tap = pours.product[whole], pours.tap[whole]
    raw = np.log(np.maximum(pours.volume[whole], 1))
    shift = learn_shift(product, tap, raw, len(pours.taps), sizes)
    log_volume = raw - shift[product, tap]
    log_size = np.where(np.isnan(log_size), NO_SIZE, log_size)
    centre = log_size + _bias(product, log_volume, log_size, log_size)
    shares, odd = _shares(product, log_volume, centre, sizes)
    off = np.abs(_nearest(product, log_volume, centre)[1])
    near = off < priors.FILL_BIAS_REACH
    spread = _spread(off[near], sizes.day[product[near]], sizes.days)
    return Fills(sizes.size_ul, centre, shares, odd, sizes.day, spread, shift)


def learn_shift(product: Ints, tap: Ints, raw: Floats, taps: int, sizes: Sizes) -> Floats:
    """(products, taps): the likeliest common shift of all sizes, by a search over a grid.

    A tap's own shift is drawn towards its product's, and that towards 0.
    """
    table, grid, first = _log_densities(sizes)
    products, step, many = len(table), priors.SHIFT_STEP, table.shape[1] - len(grid) + 1
    column = np.rint((raw - first) / step).astype(np.int64)
    known = np.flatnonzero((column >= 0) & (column < many))
    line = product[known] * taps + tap[known]
    cell, count = np.unique(line * many + column[known], return_counts=True)
    line, column = cell // many, cell % many
    # A volume under a shift is the volume less the shift under none.
    each = count[:, None] * table[(line // taps)[:, None], column[:, None] + np.arange(len(grid))[::-1]]
    sums = np.zeros((products * taps, len(grid)))
    begin = np.flatnonzero(np.diff(line, prepend=-1))
    if len(begin):
        sums[line[begin]] = np.add.reduceat(each, begin, axis=0)
    curve = sums.reshape(products, taps, len(grid))
    whole = curve.sum(axis=1) - np.abs(grid) / priors.SHIFT_USUAL
    usual = grid[np.argmax(whole, axis=1)]
    apart = np.abs(grid - usual[:, None, None]) / priors.SHIFT_APART
    found: Floats = grid[np.argmax(curve - apart, axis=2)]
    return found


@lru_cache(maxsize=4)
def _log_densities(sizes: Sizes) -> tuple[Floats, Floats, float]:
    """(products, bins): log density of volumes in steps, with as many steps more at both ends as shifts
    are looked for; the shifts; the log volume of the first bin but for those."""
    reach, step = priors.SHIFT_REACH, priors.SHIFT_STEP
    grid = step * np.arange(-reach, reach + 1)
    first, last = np.log(priors.SHIFT_LEAST_UL), np.log(priors.SHIFT_MOST_UL)
    middle = np.arange(first, last, step)
    density = np.full((len(sizes.size_ul), len(middle)), priors.ODD_SHARE / priors.ODD_LOG_RANGE)
    for size, share in zip(np.log(sizes.size_ul).T, sizes.rung_share.T, strict=True):
        off = np.where(np.isnan(size), np.inf, middle[:, None] - size).T
        density += share[:, None] * fill_density(off, priors.FILL_SPREAD)
    inner = np.log(density)
    ends = [np.repeat(inner[:, [end]], reach, axis=1) for end in (0, -1)]
    return np.concatenate([ends[0], inner, ends[1]], axis=1), grid, float(first)


def centres_of(fills: Fills, product: Ints, portion: Ints) -> Floats:
    """Log of what a glass sold as ``portion`` holds; every portion must be one of the sizes."""
    if not len(product):
        return np.zeros(0)
    column = np.nanargmin(np.abs(fills.size_ul[product] - portion[:, None]), axis=1)
    found: Floats = fills.centre[product, column]
    return found


def said_centres(fills: Fills, product: Ints, volume: Ints) -> Floats:
    """Log of what a serve holds of which ``volume`` was written down: that of the glass, where it is
    just a size of the menu."""
    log_volume: Floats = np.log(np.maximum(volume, 1).astype(float))
    if not len(product):
        return log_volume
    off = np.abs(np.nan_to_num(fills.size_ul[product], nan=np.inf) - volume[:, None])
    column = np.argmin(off, axis=1)
    rows = np.arange(len(product))
    found: Floats = np.where(off[rows, column] <= 1, fills.centre[product, column], log_volume)
    return found


def sizes_of(
    products: Sequence[str], menu: Mapping[str, Sequence[int]], product: Ints, portion: Ints
) -> Sizes:
    """The menu's sizes of each product, and any other that was rung."""
    lists = [{size for size in menu.get(name, ()) if size > 0} for name in products]
    rung = Counter(zip(product.tolist(), portion.tolist(), strict=True))
    for code, size in rung:
        if size > 0:
            lists[code].add(size)
    table = np.full((len(lists), max([1, *map(len, lists)])), np.nan)
    share = np.zeros(table.shape)
    for code, found in enumerate(lists):
        for column, size in enumerate(sorted(found)):
            table[code, column] = size
            share[code, column] = rung[code, size] + priors.SIZE_SHARE_PRIOR
    return Sizes(
        table, share / np.maximum(share.sum(axis=1, keepdims=True), 1), np.zeros(len(lists), np.int64)
    )


def stacked_sizes(days: Sequence[Sizes]) -> Sizes:
    """The days' sizes, one day's products after the other's."""
    width = max(day.size_ul.shape[1] for day in days)
    tables = [
        np.pad(day.size_ul, ((0, 0), (0, width - day.size_ul.shape[1])), constant_values=np.nan)
        for day in days
    ]
    shares = [np.pad(day.rung_share, ((0, 0), (0, width - day.rung_share.shape[1]))) for day in days]
    of = np.repeat(np.arange(len(days)), [len(day.size_ul) for day in days])
    return Sizes(np.concatenate(tables), np.concatenate(shares), of, len(days))


def _spread(off: Floats, day: Ints, days: int) -> Floats:
    """Per day, robust standard deviation from absolute deviations, drawn towards the usual one."""
    middle, count = medians(off, day, days)
    found = 1.4826 * middle * count + priors.FILL_SPREAD * priors.SPREAD_PRIOR
    return np.clip(found / (count + priors.SPREAD_PRIOR), 0.02, 0.08)


def _nearest(product: Ints, log_volume: Floats, centre: Floats) -> tuple[Ints, Floats]:
    """The nearest size of each pour, and how far it is from it (far without sizes)."""
    off = np.abs(log_volume[:, None] - centre[product])
    column = np.argmin(off, axis=1)
    return column, off[np.arange(len(product)), column]


def _bias(product: Ints, log_volume: Floats, log_size: Floats, centre: Floats) -> Floats:
    column, off = _nearest(product, log_volume, centre)
    near = np.flatnonzero(off < priors.FILL_BIAS_REACH)
    cell = product[near] * centre.shape[1] + column[near]
    error = log_volume[near] - log_size.ravel()[cell]
    middle, count = medians(error, cell, centre.size)
    bias: Floats = middle * count / (count + priors.FILL_BIAS_PRIOR)
    return bias.reshape(centre.shape)


def _shares(
    product: Ints, log_volume: Floats, centre: Floats, sizes: Sizes
) -> tuple[Floats, Floats]:
    """Shares of the sizes and of the flows that are no glass, per product."""
    column, off = _nearest(product, log_volume, centre)
    glass = off < priors.FILL_BIAS_REACH
    kind = np.where(log_volume < np.log(priors.TINY_UL), 1, 2)
    taster = np.abs(log_volume - np.log(priors.TASTER_UL)) < 2 * priors.TASTER_SPREAD
    kind = np.where(taster & (kind == 2), 0, kind)
    width = centre.shape[1] + 3
    cell = product * width + np.where(glass, column, centre.shape[1] + kind)
    counts = np.bincount(cell, minlength=len(centre) * width).reshape(-1, width).astype(float)
    usual = np.array([priors.TASTER_SHARE, priors.TINY_SHARE, priors.ODD_SHARE])
    odd = counts[:, -3:] + priors.SHARE_PRIOR * usual
    sized = counts[:, :-3] + priors.SIZE_SHARE_BELIEF * sizes.rung_share
    # One size after the other: what is added up must not depend on how many columns are padded.
    total = odd.sum(axis=1, keepdims=True) + np.cumsum(sized, axis=1)[:, -1:]
    return sized / total, odd / total
