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
from unrung.matching.columns import NEVER_MS, Bools, Entries, Floats, Ints, Pours, Units, order_key
from unrung.matching.confusion import with_confusion
from unrung.matching.costs import (
    Edges,
    Glasses,
    Rings,
    glasses_of,
    is_crowd,
    is_said,
    possible_pairs,
    ring_bases,
)
from unrung.matching.fills import Fills, Sizes, centres_of, said_centres
from unrung.matching.known import Known, Learnt, Rung, Started
from unrung.matching.laws import SAID, learn_laws, prior_laws
from unrung.matching.marginals import Chances, chances
from unrung.matching.rounds import mates_of, no_mates, rounds_of
from unrung.matching.second_look import second_look
from unrung.matching.serves import Serves, Weighed, first_cut, serves_of, shares_at, usual_lines, weigh
from unrung.matching.swapped import learn_swaps
from unrung.matching.types import MatchSettings


def start(
    pours: Pours, after_keg: Ints, units: Units, entries: Entries, sizes: Sizes,
    settings: MatchSettings, lo_ms: int,
) -> Started:
    """Serves by the pours alone, the clock, and what is believed before. Serves end no earlier than
    ``lo_ms``."""
    weighed = weigh(pours, sizes, settings.top_up_gap_ms, after_keg)
    rung = Rung(
        units, centres_of(weighed.fills, units.product, units.portion), rounds_of(units),
        _local_rates(units, units.product, units.at), _said(entries, units, weighed.fills),
    )
    cut = first_cut(weighed)
    serves = serves_of(weighed, cut, lo_ms)
    count = len(sizes.size_ul)
    known = Known(
        Clockwork(0), prior_laws(settings), no_mates(len(units.at)),
        np.full(count, priors.LONE_RING), usual_lines(count, len(pours.taps)),
    )
    glasses = price(weighed, serves, known)
    known = replace(known, clockwork=_clock(rung, known, glasses, settings))
    return Started(weighed, rung, cut, serves, known, glasses)


def learn(started: Started, settings: MatchSettings, lo_ms: int) -> Learnt:
    """Learn from one day's rows."""
    weighed, rung, cut = started.weighed, started.rung, started.cut
    serves, known, glasses = started.serves, started.known, started.glasses
    residual = np.zeros(0, np.int64)
    near = np.ones(len(rung.units.at) + len(rung.said.corrected), np.bool_)
    for step in range(priors.LEARNING_ROUNDS):
        rings, order = rings_of(rung, known)
        edges, partner = assigned(rings, glasses, known, near[order])
        near[order] = _well_paired(edges, partner)
        if step >= priors.LEARNING_ROUNDS - priors.SECOND_LOOKS:
            cut = second_look(
                weighed, cut, serves, edges, partner, rings, known.laws, known.lines
            )
        likely = chances(edges, len(rings.product), len(glasses.product))
        known, residual = _from_pairs(
            known, rung, rings, order, glasses, edges, partner, likely, settings
        )
        if step > 0:
            known = shares(known, weighed, rings, serves, likely)
            known = learn_swaps(known, rings, glasses, serves, partner, full_size(weighed, serves))
        serves = serves_of(weighed, cut, lo_ms)
        glasses = price(weighed, serves, known)
    rings, order = rings_of(rung, known)
    return Learnt(serves, glasses, rings, order, known, residual)


def price(weighed: Weighed, serves: Serves, known: Known) -> Glasses:
    """Serves as the assignment sees them."""
    judged, at = weighed.judged, serves.at
    share = shares_at(weighed, known.lines, serves.product, serves.tap, serves.lead)
    return glasses_of(
        serves.product, serves.end, judged.log_volume[at], judged.sized[at], judged.odd[at], share,
        known.lines.swapped[serves.product, serves.tap],
    )


def rings_of(rung: Rung, known: Known) -> tuple[Rings, Ints]:
    """Rings and log entries as the assignment sees them, sorted; and the unit that each row is."""
    units, clockwork = rung.units, known.clockwork
    corrected = clockwork.corrected(units.at)
    voided = units.voided < NEVER_MS
    until = clockwork.corrected(np.where(voided, units.voided, 0))
    lone = np.where(voided, priors.VOIDED_RING, known.lone_ring[units.product])
    real = Rings(
        units.product, corrected, known.mates.shift_ms, np.minimum(known.mates.count, SAID - 1),
        ring_bases(rung.rate, lone) + _together(known.mates.count), rung.centre,
        np.where(voided, until, NEVER_MS),
    )
    columns = {
        name: np.concatenate((getattr(real, name), getattr(rung.said, name)))
        for name in Rings.__slots__
    }
    order = np.lexsort((columns["corrected"], columns["product"]))
    return Rings(**{name: column[order] for name, column in columns.items()}), order


def _together(mates: Ints) -> Ints:
    """What being rung with paired round-mates adds to a ring's gain of being paired at all."""
    found: Ints = np.where(mates > 0, round(priors.MATES_BONUS * priors.MILLINATS), 0)
    return found


def _said(entries: Entries, units: Units, fills: Fills) -> Rings:
    """Log entries as rings with a law of their own."""
    count = len(entries.at)
    nothing = np.zeros(count, np.int64)
    rate = np.maximum(_local_rates(units, entries.product, entries.at), 1 / priors.RATE_WINDOW_S)
    return Rings(
        entries.product, entries.at, nothing, nothing + SAID,
        ring_bases(rate, np.full(count, priors.LONE_ENTRY)),
        said_centres(fills, entries.product, entries.volume), nothing + NEVER_MS,
    )


def assigned(
    rings: Rings, glasses: Glasses, known: Known, near: Bools
) -> tuple[Edges, Ints]:
    """Possible pairs and their best assignment, for learning: rings marked ``near`` look for a
    serve around their expected time only, the others through the whole window."""
    edges = possible_pairs(rings, glasses, known.laws, near)
    if known.confusion:
        edges = with_confusion(edges, rings, glasses, known.laws, known.confusion, near)
    return edges, best_assignment(edges, len(rings.product))


def _well_paired(edges: Edges, partner: Ints) -> Bools:
    """Rings that have a good serve."""
    found = np.zeros(len(partner), np.bool_)
    chosen = partner[edges.ring] == edges.glass
    found[edges.ring[chosen]] = edges.gain[chosen] >= priors.POOR_GAIN * priors.MILLINATS
    return found


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
    near = np.ones(len(order), np.bool_)
    edges, partner = assigned(rings, glasses, known, near)
    likely = chances(edges, len(rings.product), len(glasses.product))
    known, _ = _from_pairs(known, rung, rings, order, glasses, edges, partner, likely, settings)
    rings, order = rings_of(rung, replace(known, mates=no_mates(len(rung.units.at))))
    return total_gain(*assigned(rings, glasses, known, near)) / priors.MILLINATS


def _from_pairs(
    known: Known, rung: Rung, rings: Rings, order: Ints, glasses: Glasses, edges: Edges,
    partner: Ints, likely: Chances, settings: MatchSettings,
) -> tuple[Known, Ints]:
    """Clock, round-mates and laws from provisional pairs; and the pairs' residual lags."""
    said, count = is_said(rings), len(rung.units.at)
    pairs = np.flatnonzero((partner >= 0) & ~said)
    paired, residual = np.zeros(count, np.bool_), np.zeros(count, np.int64)
    paired[order[pairs]] = True
    residual[order[pairs]] = rings.corrected[pairs] - glasses.end[partner[pairs]]
    clockwork, moved = known.clockwork, np.zeros(count, np.int64)
    if settings.clock_offset_ms is None:
        clockwork, moved = _centred(clockwork, rung.units, paired, residual)
    residual -= moved
    mates = mates_of(rung.rounds, residual, paired)
    rows = np.flatnonzero(~said[edges.ring])
    own = order[edges.ring[rows]]
    laws = learn_laws(
        known.laws,
        rings.corrected[edges.ring[rows]] - glasses.end[edges.glass[rows]] - moved[own],
        likely.pair[rows], mates.count[own], mates.shift_ms[own],
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
    products, taps = known.lines.lone.shape
    full = full_size(weighed, serves)
    real = (rings.latest == NEVER_MS) & ~is_said(rings)
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
        lines=replace(known.lines, lone=np.clip(line.reshape(products, taps), low, high)),
    )


def full_size(weighed: Weighed, serves: Serves) -> Bools:
    """Which serves are likelier glasses than other flows."""
    found: Bools = (weighed.judged.sized > weighed.judged.odd)[serves.at] & ~weighed.run_off[serves.lead]
    return found


def _pooled(chance: Floats, usual: float) -> float:
    belief = priors.POOL_PRIOR
    return float((chance.sum() + belief * usual) / (len(chance) + belief))


def _drawn(code: Ints, chance: Floats, wider: Floats, belief: float) -> Floats:
    """The mean chance per code, drawn towards a wider mean."""
    number = np.bincount(code, minlength=len(wider))
    found: Floats = (np.bincount(code, chance, len(wider)) + belief * wider) / (number + belief)
    return found


def _local_rates(units: Units, product: Ints, at: Ints) -> Floats:
    """Rings of the same product per second around each of the given times."""
    if not len(units.at) or not len(at):
        return np.zeros(len(at))
    half = int(1_000 * priors.RATE_WINDOW_S)
    base = min(int(units.at.min()), int(at.min())) - (1 << 35)
    keys, there = order_key(units.product, units.at, base), order_key(product, at, base)
    count = np.searchsorted(keys, there + half, "right") - np.searchsorted(keys, there - half)
    rate: Floats = count / (2 * priors.RATE_WINDOW_S)
    return rate
