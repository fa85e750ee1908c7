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
from unrung.matching.costs import Edges, Glasses, Rings, glasses_of, possible_pairs, ring_bases, rings_at
from unrung.matching.fills import Fills, centres_of, odd_density, sized_density, sizes_of
from unrung.matching.laws import CLASSES, Laws, learn_laws, near_only, prior_laws
from unrung.matching.marginals import chances
from unrung.matching.rounds import Mates, mates_of, rounds_of
from unrung.matching.second_look import second_look
from unrung.matching.serves import Serves, Weighed, first_cut, log_fill, serves_of, weigh
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
    known = sizes_of(products, sizes, rung.product, rung.portion)
    weighed = weigh(poured, known, settings.top_up_gap_ms)
    cut = first_cut(weighed)
    serves = serves_of(poured, cut, bounds[0])
    centre = centres_of(weighed.fills, rung.product, rung.portion)
    count = len(products)
    lone_serve, lone_ring = np.full(count, priors.LONE_SERVE), np.full(count, priors.LONE_RING)
    glasses = _glasses(weighed, serves, lone_serve)
    clockwork = _first_clock(rung, centre, glasses, settings)
    mates, laws, rounds = _no_mates(rung), prior_laws(settings), rounds_of(rung)
    for step in range(priors.LEARNING_ROUNDS):
        rings, order = _rings(rung, centre, clockwork, mates, lone_ring)
        edges, partner = assigned(rings, glasses, laws)
        likely = chances(edges, len(rings.product), len(glasses.product))
        if step >= priors.LEARNING_ROUNDS - priors.SECOND_LOOKS:
            cut = second_look(weighed, cut, serves, edges, partner, rings, laws, lone_serve)
        paired, residual = _residuals(rings, glasses, partner, order)
        clockwork, residual, moved = _centred(clockwork, rung, paired, residual, settings)
        mates = mates_of(rounds, residual, paired)
        own = order[edges.ring]
        laws = learn_laws(
            laws.scale, rings.corrected[edges.ring] - glasses.end[edges.glass] - moved[own],
            likely.pair, mates.count[own], mates.shift_ms[own],
        )
        if step > 0:
            lone_ring = _share(
                likely.lone_ring, rings.product, rings.latest == NEVER_MS, count, priors.LONE_RING,
                priors.RING_SHARE_PRIOR,
            )
            lone_serve = _share(
                likely.lone_glass, glasses.product, _full(weighed.fills, glasses), count,
                priors.LONE_SERVE, priors.SERVE_SHARE_PRIOR,
            )
        serves = serves_of(poured, cut, bounds[0])
        glasses = _glasses(weighed, serves, lone_serve)
    rings, order = _rings(rung, centre, clockwork, mates, lone_ring)
    return Prepared(
        bounds, settings, products, poured.taps, serves, glasses, rings,
        rung.key[order], laws, _clock(clockwork, paired, residual),
    )


def _glasses(weighed: Weighed, serves: Serves, lone_share: Floats) -> Glasses:
    log_volume = log_fill(
        weighed, serves.product, serves.tap, serves.volume, serves.joined
    )
    return glasses_of(serves.product, serves.end, log_volume, weighed.fills, lone_share)


def _share(
    chance: Floats, product: Ints, counted: Bools, products: int, usual: float, belief: float,
) -> Floats:
    """Per product, the share that stays alone, drawn towards the usual one."""
    number = np.bincount(product[counted], minlength=products)
    alone = np.bincount(product[counted], chance[counted], products)
    pool = (alone.sum() + priors.POOL_PRIOR * usual) / (number.sum() + priors.POOL_PRIOR)
    share: Floats = (alone + belief * pool) / (number + belief)
    return np.clip(share, priors.LEAST_SHARE, 0.9)


def _full(fills: Fills, glasses: Glasses) -> Bools:
    """Serves that look like a glass of some size."""
    sized = sized_density(fills, glasses.product, glasses.log_volume)
    found: Bools = sized > odd_density(fills, glasses.product, glasses.log_volume)
    return found


def _first_clock(
    units: Units, centre: Floats, glasses: Glasses, settings: MatchSettings
) -> Clockwork:
    if settings.clock_offset_ms is not None:
        return pinned(settings.clock_offset_ms)
    return find_clock(
        all_lags(units.at, units.product, centre, glasses.product, glasses.end, glasses.log_volume)
    )[0]


def _no_mates(units: Units) -> Mates:
    return Mates(np.zeros(len(units.at), np.int64), np.zeros(len(units.at), np.int64))


def _rings(
    units: Units, centre: Floats, clockwork: Clockwork, mates: Mates, lone_share: Floats
) -> tuple[Rings, Ints]:
    """Rings priced under a clock, sorted; and the unit that each row is."""
    corrected = clockwork.corrected(units.at)
    voided = units.voided < NEVER_MS
    until = clockwork.corrected(np.where(voided, units.voided, 0))
    base = ring_bases(_local_rates(units), voided, lone_share[units.product])
    order = np.lexsort((corrected, units.product))
    columns = (
        units.product, corrected, mates.shift_ms,
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
    """Possible pairs and their best assignment, for learning: only rings that find no good serve
    near their expected time look through the whole window."""
    near = possible_pairs(rings, glasses, near_only(laws))
    partner = best_assignment(near, len(rings.product))
    gain = np.zeros(len(partner), np.int64)
    chosen = partner[near.ring] == near.glass
    gain[near.ring[chosen]] = near.gain[chosen]
    weak = np.flatnonzero(gain < priors.POOR_GAIN * priors.MILLINATS)
    wide = possible_pairs(rings_at(rings, weak), glasses, laws)
    keep = np.ones(len(partner), np.bool_)
    keep[weak] = False
    kept = keep[near.ring]
    ring = np.concatenate((near.ring[kept], weak[wide.ring]))
    order = np.argsort(ring, kind="stable")
    edges = Edges(
        ring[order],
        np.concatenate((near.glass[kept], wide.glass))[order],
        np.concatenate((near.gain[kept], wide.gain))[order],
    )
    return edges, best_assignment(edges, len(partner))


def _residuals(
    rings: Rings, glasses: Glasses, partner: Ints, order: Ints
) -> tuple[Bools, Ints]:
    """Who is paired, with which residual lag (milliseconds); by unit."""
    pairs = np.flatnonzero(partner >= 0)
    paired, residual = np.zeros(len(order), np.bool_), np.zeros(len(order), np.int64)
    paired[order[pairs]] = True
    residual[order[pairs]] = rings.corrected[pairs] - glasses.end[partner[pairs]]
    return paired, residual


def _centred(
    clockwork: Clockwork, units: Units, paired: Bools, residual: Ints, settings: MatchSettings
) -> tuple[Clockwork, Ints, Ints]:
    """The clock moved to the middle of the provisional lags, the lags about it, and the moves."""
    if settings.clock_offset_ms is not None:
        return clockwork, residual, np.zeros(len(residual), np.int64)
    later = clockwork.after_jump(units.at) == 1
    moves = [_middle(residual[paired & part]) for part in (~later, later)]
    moved = replace(
        clockwork, centre_ms=clockwork.centre_ms + moves[0],
        jump_ms=0 if clockwork.jump_at_ms is None else clockwork.jump_ms + moves[1] - moves[0],
    )
    shift = np.where(later, moves[1], moves[0])
    return moved, residual - shift, shift


def _middle(residual: Ints) -> int:
    """Median, drawn towards 0 where pairs are few."""
    if not len(residual):
        return 0
    return round(float(np.median(residual)) * len(residual) / (len(residual) + priors.CENTRE_PRIOR))


def _clock(clockwork: Clockwork, paired: Bools, residual: Ints) -> Clock:
    count = int(paired.sum())
    low, high = np.quantile(residual[paired], (0.25, 0.75)) if count else (0.0, 0.0)
    return Clock(
        clockwork.centre_ms, round((high - low) / 2), count, clockwork.jump_at_ms,
        clockwork.jump_ms,
    )
