"""Everything a day teaches: serves, clock, lags, and how many serves and rings stay alone.

Pairs and the laws that judge them are learnt from each other in a few rounds, each ring's expected
lag re-centred on its round-mates'; from the second round on, the rings also revise the serves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import best_assignment, total_gain
from unrung.matching.clockwork import Clockwork, all_lags, find_clock, pinned
from unrung.matching.columns import NEVER_MS, Bools, Floats, Ints, Pours, Units, order_key
from unrung.matching.confusion import Confusion, confused, own, with_confusion
from unrung.matching.costs import (
    Edges,
    Glasses,
    Rings,
    glasses_of,
    is_crowd,
    possible_pairs,
    ring_bases,
    rings_at,
)
from unrung.matching.fills import Sizes, centres_of
from unrung.matching.known import Known, Learnt, Rung, Started
from unrung.matching.laws import CLASSES, learn_laws, near_only, prior_laws
from unrung.matching.marginals import Chances, chances
from unrung.matching.rounds import mates_of, no_mates, rounds_of
from unrung.matching.second_look import second_look
from unrung.matching.serves import Serves, Weighed, first_cut, serves_of, weigh
from unrung.matching.types import MatchSettings


def start(
    pours: Pours, units: Units, sizes: Sizes, settings: MatchSettings, lo_ms: int
) -> Started:
    """Serves by the pours alone, the clock, and what is believed before. Serves end no earlier than
    ``lo_ms``."""
    weighed = weigh(pours, sizes, settings.top_up_gap_ms)
    rung = Rung(
        units, centres_of(weighed.fills, units.product, units.portion), rounds_of(units),
        _local_rates(units),
    )
    cut = first_cut(weighed)
    serves = serves_of(weighed, cut, lo_ms)
    count = len(sizes.size_ul)
    known = Known(
        Clockwork(0), prior_laws(settings), no_mates(len(units.at)),
        np.full(count, priors.LONE_RING), np.full((count, len(pours.taps)), priors.LONE_SERVE),
    )
    glasses = price(weighed, serves, known)
    known = replace(known, clockwork=_clock(rung, known, glasses, settings))
    return Started(weighed, rung, cut, serves, known, glasses)


def learn(started: Started, settings: MatchSettings, lo_ms: int) -> Learnt:
    """Learn from one day's rows."""
    weighed, rung, cut = started.weighed, started.rung, started.cut
    serves, known, glasses = started.serves, started.known, started.glasses
    residual = np.zeros(0, np.int64)
    for step in range(priors.LEARNING_ROUNDS):
        rings, order = rings_of(rung, known)
        edges, partner = assigned(rings, glasses, known)
        if step >= priors.LEARNING_ROUNDS - priors.SECOND_LOOKS:
            cut = second_look(
                weighed, cut, serves, edges, partner, rings, known.laws, known.lone_serve
            )
        likely = chances(edges, len(rings.product), len(glasses.product))
        known, residual = _from_pairs(
            known, rung, rings, order, glasses, edges, partner, likely, settings
        )
        if step > 0:
            known = shares(known, weighed, rings, serves, likely)
            known = replace(known, confusion=_confusion(rings, glasses, partner))
        serves = serves_of(weighed, cut, lo_ms)
        glasses = price(weighed, serves, known)
    rings, order = rings_of(rung, known)
    return Learnt(serves, glasses, rings, order, known, residual)


def price(weighed: Weighed, serves: Serves, known: Known) -> Glasses:
    """Serves as the assignment sees them."""
    judged, at = weighed.judged, serves.at
    share = known.lone_serve[serves.product, serves.tap]
    return glasses_of(
        serves.product, serves.end, judged.log_volume[at], judged.sized[at], judged.odd[at], share
    )


def rings_of(rung: Rung, known: Known) -> tuple[Rings, Ints]:
    """Rings as the assignment sees them, sorted; and the unit that each row is."""
    units, clockwork = rung.units, known.clockwork
    corrected = clockwork.corrected(units.at)
    voided = units.voided < NEVER_MS
    until = clockwork.corrected(np.where(voided, units.voided, 0))
    order = np.lexsort((corrected, units.product))
    columns = (
        units.product, corrected, known.mates.shift_ms,
        np.minimum(known.mates.count, CLASSES - 1),
        ring_bases(rung.rate, voided, known.lone_ring[units.product]), rung.centre,
        np.where(voided, until, NEVER_MS),
    )
    return Rings(*(column[order] for column in columns)), order


def assigned(rings: Rings, glasses: Glasses, known: Known) -> tuple[Edges, Ints]:
    """Possible pairs and their best assignment, for learning: only rings that find no good serve
    near their expected time look through the whole window."""
    near = possible_pairs(rings, glasses, near_only(known.laws))
    partner = best_assignment(near, len(rings.product))
    gain = np.zeros(len(partner), np.int64)
    chosen = partner[near.ring] == near.glass
    gain[near.ring[chosen]] = near.gain[chosen]
    weak = np.flatnonzero(gain < priors.POOR_GAIN * priors.MILLINATS)
    wide = possible_pairs(rings_at(rings, weak), glasses, known.laws)
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
    if known.confusion:
        edges = with_confusion(edges, rings, glasses, near_only(known.laws), known.confusion)
    return edges, best_assignment(edges, len(partner))


def _confusion(rings: Rings, glasses: Glasses, partner: Ints) -> Confusion:
    right = own(rings, glasses, partner)
    lone_glass = np.ones(len(glasses.end), np.bool_)
    lone_glass[right[right >= 0]] = False
    return confused(rings, glasses, right < 0, lone_glass)


def _clock(rung: Rung, known: Known, glasses: Glasses, settings: MatchSettings) -> Clockwork:
    """The first guess at the clock; a jump only where it explains the pairs much better. Rings that
    may come hours late tell nothing of it."""
    if settings.clock_offset_ms is not None or settings.window_after_ms > priors.LATE_MS:
        return pinned(settings.clock_offset_ms or 0)
    units = rung.units
    steady, jumped = find_clock(
        all_lags(
            units.at, units.product, rung.centre, glasses.product, glasses.end, glasses.log_volume
        )
    )
    if jumped is None or is_crowd(rings_of(rung, known)[0], glasses, known.laws):
        return steady
    worth = [
        _worth(replace(known, clockwork=clockwork), rung, glasses, settings)
        for clockwork in (steady, jumped)
    ]
    return jumped if worth[1] > worth[0] + priors.JUMP_GAIN else steady


def _worth(known: Known, rung: Rung, glasses: Glasses, settings: MatchSettings) -> float:
    """Log likelihood of the day's pairs under a clock, its law learnt once."""
    rings, order = rings_of(rung, known)
    edges, partner = assigned(rings, glasses, known)
    likely = chances(edges, len(rings.product), len(glasses.product))
    known, _ = _from_pairs(known, rung, rings, order, glasses, edges, partner, likely, settings)
    rings, order = rings_of(rung, replace(known, mates=no_mates(len(order))))
    return total_gain(*assigned(rings, glasses, known)) / priors.MILLINATS


def _from_pairs(
    known: Known, rung: Rung, rings: Rings, order: Ints, glasses: Glasses, edges: Edges,
    partner: Ints, likely: Chances, settings: MatchSettings,
) -> tuple[Known, Ints]:
    """Clock, round-mates and laws from provisional pairs; and the pairs' residual lags."""
    pairs = np.flatnonzero(partner >= 0)
    paired, residual = np.zeros(len(order), np.bool_), np.zeros(len(order), np.int64)
    paired[order[pairs]] = True
    residual[order[pairs]] = rings.corrected[pairs] - glasses.end[partner[pairs]]
    clockwork, moved = known.clockwork, np.zeros(len(order), np.int64)
    if settings.clock_offset_ms is None:
        clockwork, moved = _centred(clockwork, rung.units, paired, residual)
    residual -= moved
    mates = mates_of(rung.rounds, residual, paired)
    own = order[edges.ring]
    laws = learn_laws(
        known.laws.scale,
        rings.corrected[edges.ring] - glasses.end[edges.glass] - moved[own],
        likely.pair, mates.count[own], mates.shift_ms[own],
    )
    return replace(known, clockwork=clockwork, mates=mates, laws=laws), residual[paired]


def _centred(
    clockwork: Clockwork, units: Units, paired: Bools, residual: Ints
) -> tuple[Clockwork, Ints]:
    """The clock moved to the middle of the provisional lags, and by how much for each unit."""
    later = clockwork.after_jump(units.at) == 1
    moves = [_middle(residual[paired & part]) for part in (~later, later)]
    jump = 0 if clockwork.jump_at_ms is None else clockwork.jump_ms + moves[1] - moves[0]
    moved = replace(clockwork, centre_ms=clockwork.centre_ms + moves[0], jump_ms=jump)
    return moved, np.where(later, moves[1], moves[0])


def _middle(residual: Ints) -> int:
    """Median, drawn towards 0 where pairs are few."""
    if not len(residual):
        return 0
    return round(float(np.median(residual)) * len(residual) / (len(residual) + priors.CENTRE_PRIOR))


def shares(
    known: Known, weighed: Weighed, rings: Rings, serves: Serves, likely: Chances
) -> Known:
    """Shares of lone rings and lone serves, from the chances of all pairs.

    Each share is drawn towards a wider one: a tap's to its product's, a product's to the outlet's.
    """
    products, taps = known.lone_serve.shape
    full = (weighed.judged.sized > weighed.judged.odd)[serves.at]
    real = rings.latest == NEVER_MS
    belief = priors.SHARE_BELIEF
    ring = _drawn(
        rings.product[real], likely.lone_ring[real],
        np.full(products, _pooled(likely.lone_ring[real], priors.LONE_RING)), belief,
    )
    serve = _drawn(
        serves.product[full], likely.lone_glass[full],
        np.full(products, _pooled(likely.lone_glass[full], priors.LONE_SERVE)), belief,
    )
    line = _drawn(
        serves.product[full] * taps + serves.tap[full], likely.lone_glass[full],
        np.repeat(serve, taps), belief,
    )
    low, high = priors.LEAST_SHARE, priors.MOST_SHARE
    return replace(
        known, lone_ring=np.clip(ring, low, high),
        lone_serve=np.clip(line.reshape(products, taps), low, high),
    )


def _pooled(chance: Floats, usual: float) -> float:
    belief = priors.POOL_PRIOR
    return float((chance.sum() + belief * usual) / (len(chance) + belief))


def _drawn(code: Ints, chance: Floats, wider: Floats, belief: float) -> Floats:
    """The mean chance per code, drawn towards a wider mean."""
    number = np.bincount(code, minlength=len(wider))
    found: Floats = (np.bincount(code, chance, len(wider)) + belief * wider) / (number + belief)
    return found


def _local_rates(units: Units) -> Floats:
    """Rings of the same product per second around each ring."""
    if not len(units.at):
        return np.zeros(0)
    half = int(1_000 * priors.RATE_WINDOW_S)
    keys = order_key(units.product, units.at, int(units.at.min()) - (1 << 35))
    count = np.searchsorted(keys, keys + half, "right") - np.searchsorted(keys, keys - half)
    rate: Floats = count / (2 * priors.RATE_WINDOW_S)
    return rate
