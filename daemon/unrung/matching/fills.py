"""How likely a volume is: as a glass of a size, as a taster, a drip, or anything else.

All densities are over the natural logarithm of the volume.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints

ROOT_2PI = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True, slots=True)
class Fills:
    """What glasses of each product hold. Shapes: (products, sizes), padded with ``nan``."""

    size_ul: Floats
    centre: Floats
    """Log of the volume that a glass of this size holds in practice."""
    share: Floats
    """Of the product's pours; 0 where padded."""
    odd: Floats
    """(products, 3): shares of tasters, drips and other flows."""


def normal(x: Floats, spread: float) -> Floats:
    """Density of a normal distribution around 0."""
    return np.exp(-0.5 * (x / spread) ** 2) / (spread * ROOT_2PI)


def fill_density(deviation: Floats) -> Floats:
    """Density of log(volume) less the log of what such a glass holds."""
    wide = priors.FILL_WIDE_SHARE
    return (1 - wide) * normal(deviation, priors.FILL_SPREAD) + wide * normal(
        deviation, priors.FILL_SPREAD * priors.FILL_WIDE_FACTOR
    )


def sized_density(fills: Fills, product: Ints, log_volume: Floats) -> Floats:
    """Density of ``log_volume`` as one glass of any of the product's sizes."""
    deviation = log_volume[:, None] - fills.centre[product]
    return np.nansum(fills.share[product] * fill_density(deviation), axis=1)


def odd_density(fills: Fills, product: Ints, log_volume: Floats) -> Floats:
    """Density of ``log_volume`` as a flow that is no glass."""
    taster, tiny, other = fills.odd[product].T
    flat = 1 / priors.ODD_LOG_RANGE
    small = log_volume < np.log(priors.TINY_UL)
    bump = normal(log_volume - np.log(priors.TASTER_UL), priors.TASTER_SPREAD)
    return taster * bump + np.where(small, tiny / 3.0, 0.0) + other * flat


def learn_fills(product: Ints, volume: Ints, sizes: Sequence[Sequence[int]]) -> Fills:
    """Size shares and how far each set portion is off, from one day's whole pours.

    ``sizes``: the menu's portions of each product, microlitres.
    """
    size_ul = _padded(sizes)
    log_size = np.log(size_ul)
    centre = log_size.copy()
    log_volume = np.log(np.maximum(volume, 1))
    for _ in range(2):
        centre = log_size + _bias(product, log_volume, log_size, centre)
    shares, odd = _shares(product, log_volume, centre)
    return Fills(size_ul, centre, shares, odd)


def centres_of(fills: Fills, product: Ints, portion: Ints) -> Floats:
    """Log of what a glass sold as ``portion`` holds; every portion must be one of the sizes."""
    if not len(product):
        return np.zeros(0)
    column = np.nanargmin(np.abs(fills.size_ul[product] - portion[:, None]), axis=1)
    return fills.centre[product, column]


def size_lists(
    products: Sequence[str], sizes: Mapping[str, Sequence[int]], product: Ints, portion: Ints
) -> list[list[int]]:
    """The menu's sizes of each product, and any other that was rung."""
    lists = [{size for size in sizes.get(name, ()) if size > 0} for name in products]
    for code, size in set(zip(product.tolist(), portion.tolist(), strict=True)):
        if size > 0:
            lists[code].add(size)
    return [sorted(found) for found in lists]


def _padded(sizes: Sequence[Sequence[int]]) -> Floats:
    table = np.full((len(sizes), max([1, *map(len, sizes)])), np.nan)
    for row, found in enumerate(sizes):
        table[row, : len(found)] = found
    return table


def _nearest(product: Ints, log_volume: Floats, centre: Floats) -> tuple[Ints, Floats]:
    """The nearest size of each pour, and how far it is from it (``inf`` without sizes)."""
    off = np.abs(log_volume[:, None] - centre[product])
    off = np.where(np.isnan(off), np.inf, off)
    column = np.argmin(off, axis=1)
    return column, off[np.arange(len(product)), column]


def _bias(product: Ints, log_volume: Floats, log_size: Floats, centre: Floats) -> Floats:
    column, off = _nearest(product, log_volume, centre)
    near = np.flatnonzero(off < priors.FILL_BIAS_REACH)
    cell = product[near] * centre.shape[1] + column[near]
    error = log_volume[near] - log_size.ravel()[cell]
    order = np.lexsort((error, cell))
    cell, error = cell[order], error[order]
    bias = np.zeros(centre.size)
    found, first, count = np.unique(cell, return_index=True, return_counts=True)
    middle = (error[first + (count - 1) // 2] + error[first + count // 2]) / 2
    bias[found] = middle * count / (count + priors.FILL_BIAS_PRIOR)
    return bias.reshape(centre.shape)


def _shares(product: Ints, log_volume: Floats, centre: Floats) -> tuple[Floats, Floats]:
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
    sized = np.where(np.isnan(centre), 0, counts[:, :-3] + priors.SIZE_SHARE_PRIOR)
    total = odd.sum(axis=1, keepdims=True) + sized.sum(axis=1, keepdims=True)
    return sized / total, odd / total
