"""One business day made ready: serves built, clock and lag learnt, every price set.

A function of that day's rows alone, so that two neighbouring days read the same ``Prepared``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import best_assignment
from unrung.matching.clockwork import Clockwork, all_lags, find_clock, pinned
from unrung.matching.columns import (
    NEVER_MS,
    Bools,
    Floats,
    Ints,
    Units,
    order_key,
    pour_columns,
    unit_columns,
)
from unrung.matching.costs import Edges, Glasses, Rings, glasses_of, possible_pairs, ring_bases
from unrung.matching.fills import centres_of, size_lists
from unrung.matching.laws import CLASSES, Laws, learn_laws, prior_laws
from unrung.matching.rounds import Mates, mates_of, rounds_of
from unrung.matching.second_look import second_look
from unrung.matching.serves import Serves, first_cut, serves_of, weigh
from unrung.matching.types import Clock, MatchSettings, MeteredPour, RingUnit


@dataclass(frozen=True, slots=True)
class Prepared:
    """One day of one outlet or pool; opaque to callers."""

    bounds: tuple[int, int]
    settings: MatchSettings
    products: tuple[str, ...]
    taps: tuple[str, ...]
    serves: Serves
    glasses: Glasses
    """Row for row the serves, as the assignment sees them."""
    rings: Rings
    ring_key: Ints
    laws: Laws
    clock: Clock


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
    weighed = weigh(poured, lists, settings.top_up_gap_ms)
    cut = first_cut(weighed)
    serves = serves_of(poured, cut, bounds[0])
    glasses = glasses_of(serves.product, serves.end, serves.volume, weighed.fills)
    centre = centres_of(weighed.fills, rung.product, rung.portion)
    clockwork = _first_clock(rung, centre, glasses, settings)
    mates, laws, rounds = _no_mates(rung), prior_laws(settings), rounds_of(rung)
    for step in range(priors.LEARNING_ROUNDS):
        rings, order = _rings(rung, centre, clockwork, mates)
        edges, partner = assigned(rings, glasses, laws)
        paired, residual = _residuals(rings, glasses, partner, order)
        clockwork, residual = _centred(clockwork, rung, paired, residual, settings)
        mates = mates_of(rounds, residual / 1_000, paired)
        laws = learn_laws(residual / 1_000, paired, mates, settings)
        if step + 1 >= priors.LEARNING_ROUNDS - priors.SECOND_LOOKS:
            rings, order = _rings(rung, centre, clockwork, mates)
            edges, partner = assigned(rings, glasses, laws)
            cut = second_look(weighed, cut, serves, edges, partner, rings, laws)
            serves = serves_of(poured, cut, bounds[0])
            glasses = glasses_of(serves.product, serves.end, serves.volume, weighed.fills)
    rings, order = _rings(rung, centre, clockwork, mates)
    return Prepared(
        bounds, settings, products, poured.taps, serves, glasses, rings,
        rung.key[order], laws, _clock(clockwork, paired, residual),
    )


def _first_clock(
    units: Units, centre: Floats, glasses: Glasses, settings: MatchSettings
) -> Clockwork:
    if settings.clock_offset_ms is not None:
        return pinned(settings.clock_offset_ms)
    return find_clock(
        all_lags(units.at, units.product, centre, glasses.product, glasses.end, glasses.log_volume)
    )


def _no_mates(units: Units) -> Mates:
    return Mates(np.zeros(len(units.at), np.int64), np.zeros(len(units.at)))


def _rings(
    units: Units, centre: Floats, clockwork: Clockwork, mates: Mates
) -> tuple[Rings, Ints]:
    """Rings priced under a clock, sorted; and the unit that each row is."""
    corrected = clockwork.corrected(units.at)
    voided = units.voided < NEVER_MS
    until = clockwork.corrected(np.where(voided, units.voided, 0))
    base = ring_bases(_local_rates(units), voided)
    order = np.lexsort((corrected, units.product))
    columns = (
        units.product, corrected, np.rint(1_000 * mates.shift_s).astype(np.int64),
        np.minimum(mates.count, CLASSES - 1), base, centre, np.where(voided, until, NEVER_MS),
    )
    return Rings(*(column[order] for column in columns)), order


def _local_rates(units: Units) -> Floats:
    """Rings of the same product per second around each ring."""
    if not len(units.at):
        return np.zeros(0)
    half = int(1_000 * priors.RATE_WINDOW_S)
    keys = order_key(units.product, units.at, int(units.at.min()) - (1 << 35))
    count = np.searchsorted(keys, keys + half, "right") - np.searchsorted(keys, keys - half)
    rate: Floats = count / (2 * priors.RATE_WINDOW_S)
    return rate


def assigned(rings: Rings, glasses: Glasses, laws: Laws) -> tuple[Edges, Ints]:
    """The possible pairs and the best assignment."""
    edges = possible_pairs(rings, glasses, laws)
    return edges, best_assignment(edges, len(rings.product))


def _residuals(
    rings: Rings, glasses: Glasses, partner: Ints, order: Ints
) -> tuple[Bools, Floats]:
    """Who is paired, with which residual lag (milliseconds); by unit."""
    pairs = np.flatnonzero(partner >= 0)
    paired, residual = np.zeros(len(order), np.bool_), np.zeros(len(order))
    paired[order[pairs]] = True
    residual[order[pairs]] = rings.corrected[pairs] - glasses.end[partner[pairs]]
    return paired, residual


def _centred(
    clockwork: Clockwork, units: Units, paired: Bools, residual: Floats, settings: MatchSettings
) -> tuple[Clockwork, Floats]:
    """The clock moved to the middle of the provisional lags, and the lags about it."""
    if settings.clock_offset_ms is not None:
        return clockwork, residual
    later = clockwork.after_jump(units.at) == 1
    moves = [_middle(residual[paired & part]) for part in (~later, later)]
    moved = replace(
        clockwork, centre_ms=clockwork.centre_ms + moves[0],
        jump_ms=0 if clockwork.jump_at_ms is None else clockwork.jump_ms + moves[1] - moves[0],
    )
    return moved, residual - np.where(later, moves[1], moves[0])


def _middle(residual: Floats) -> int:
    """Median, drawn towards 0 where pairs are few."""
    if not len(residual):
        return 0
    return round(float(np.median(residual)) * len(residual) / (len(residual) + priors.CENTRE_PRIOR))


def _clock(clockwork: Clockwork, paired: Bools, residual: Floats) -> Clock:
    count = int(paired.sum())
    low, high = np.quantile(residual[paired], (0.25, 0.75)) if count else (0.0, 0.0)
    return Clock(
        clockwork.centre_ms, round((high - low) / 2), count, clockwork.jump_at_ms,
        clockwork.jump_ms,
    )
