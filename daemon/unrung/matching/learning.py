"""Everything that days teach: serves, clocks, lags, and how many serves and rings stay alone.

Several days are learnt at once, each from its own rows alone: that saves time, since a step over many rows
costs little more than over few. Each day's products are products of their own.

Pairs and the laws that judge them are learnt from each other in a few rounds, each ring's expected
lag re-centred on its round-mates'; and in each round the rings revise the serves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import best_by_day
from unrung.matching.clockwork import Clockwork
from unrung.matching.columns import NEVER_MS, Bools, Floats, Ints, medians
from unrung.matching.confusion import with_confusion
from unrung.matching.costs import glasses_of, possible_pairs, ring_bases
from unrung.matching.known import Known, Learnt, Rung, Started
from unrung.matching.laws import CLASSES, SAID, learn_laws
from unrung.matching.marginals import Chances, chances
from unrung.matching.rounds import mates_of
from unrung.matching.second_look import second_look
from unrung.matching.serves import Serves, Weighed, serves_of, shares_at
from unrung.matching.sides import Edges, Glasses, Rings, is_said
from unrung.matching.swapped import learn_swaps
from unrung.matching.types import MatchSettings


def learn(started: Started, settings: MatchSettings, lo_ms: Ints) -> Learnt:
    """Learn from the days' rows. ``lo_ms``: see ``serves_of``."""
    weighed, rung, cut = started.weighed, started.rung, started.cut
    serves, known, glasses = started.serves, started.known, started.glasses
    day = weighed.fills.day
    residual = residual_day = np.zeros(0, np.int64)
    well = np.ones(len(rung.units.at) + len(rung.said.corrected), np.bool_)
    kept = np.zeros(len(weighed.judged.sized), np.bool_)
    for _ in range(priors.LEARNING_ROUNDS):
        rings, order = rings_of(rung, known)
        edges, partner = assigned(rings, glasses, known, well[order])
        good = _well_paired(edges, partner)
        well[order] = _marked(len(partner), edges.ring[good])
        kept = _marked(len(weighed.judged.sized), serves.at[edges.glass[good]])
        cut = second_look(weighed, cut, serves, edges, partner, rings, known.laws, known.lines)
        likely = chances(edges, len(rings.product), day[glasses.product])
        known, residual, residual_day = from_pairs(
            known, rung, rings, order, glasses, edges, partner, likely, settings
        )
        known = shares(known, weighed, rings, serves, likely)
        known = learn_swaps(known, rings, glasses, serves, partner, full_size(weighed, serves), day)
        serves = serves_of(weighed, cut, lo_ms)
        glasses = price(weighed, serves, known)
    rings, order = rings_of(rung, known)
    return Learnt(
        serves, glasses, rings, order, known, residual, residual_day, well[order], kept[serves.at]
    )


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
    corrected = clockwork.corrected(units.at, rung.day)
    voided = units.voided < NEVER_MS
    until = clockwork.corrected(np.where(voided, units.voided, 0), rung.day)
    lone = np.where(voided, priors.VOIDED_RING, known.lone_ring[units.product])
    real = Rings(
        units.product, corrected, known.mates.shift_ms,
        CLASSES * rung.day + np.minimum(known.mates.count, SAID - 1),
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


def assigned(
    rings: Rings, glasses: Glasses, known: Known, near: Bools
) -> tuple[Edges, Ints]:
    """Possible pairs and each day's best assignment, for learning: rings marked ``near`` look for a
    serve around their expected time only, the others through the whole window."""
    edges = possible_pairs(rings, glasses, known.laws, near)
    if known.confusion:
        edges = with_confusion(edges, rings, glasses, known.laws, known.confusion, near)
    first = np.searchsorted(rings.law // CLASSES, np.arange(len(known.laws.solo) + 1))
    return edges, best_by_day(edges, first)


def _well_paired(edges: Edges, partner: Ints) -> Bools:
    """Edges that are pairs, and good ones."""
    found: Bools = partner[edges.ring] == edges.glass
    found &= edges.gain >= priors.POOR_GAIN * priors.MILLINATS
    return found


def _marked(count: int, rows: Ints) -> Bools:
    found = np.zeros(count, np.bool_)
    found[rows] = True
    return found


def from_pairs(
    known: Known, rung: Rung, rings: Rings, order: Ints, glasses: Glasses, edges: Edges,
    partner: Ints, likely: Chances, settings: MatchSettings,
) -> tuple[Known, Ints, Ints]:
    """Clocks, round-mates and laws from provisional pairs; and the pairs' residual lags and days."""
    said, count = is_said(rings), len(rung.units.at)
    pairs = np.flatnonzero((partner >= 0) & ~said)
    paired, residual = np.zeros(count, np.bool_), np.zeros(count, np.int64)
    paired[order[pairs]] = True
    residual[order[pairs]] = rings.corrected[pairs] - glasses.end[partner[pairs]]
    clockwork, moved = known.clockwork, np.zeros(count, np.int64)
    if settings.clock_offset_ms is None:
        clockwork, moved = _centred(clockwork, rung, paired, residual)
    residual -= moved
    mates = mates_of(rung.rounds, residual, paired)
    rows = np.flatnonzero(~said[edges.ring])
    own = order[edges.ring[rows]]
    laws = learn_laws(
        known.laws, rung.days, rung.day[own],
        rings.corrected[edges.ring[rows]] - glasses.end[edges.glass[rows]] - moved[own],
        likely.pair[rows], mates.count[own], mates.shift_ms[own],
    )
    known = replace(known, clockwork=clockwork, mates=mates, laws=laws)
    return known, residual[paired], rung.day[paired]


def _centred(
    clockwork: Clockwork, rung: Rung, paired: Bools, residual: Ints
) -> tuple[Clockwork, Ints]:
    """The clocks moved to the middle of the provisional lags, and by how much for each unit."""
    later = clockwork.after_jump(rung.units.at, rung.day)
    part = 2 * rung.day + later
    middle, count = medians(residual[paired], part[paired], 2 * len(clockwork.centre_ms))
    # Drawn towards 0 where pairs are few.
    moves = np.rint(middle * count / (count + priors.CENTRE_PRIOR)).astype(np.int64)
    before, after = moves.reshape(-1, 2).T
    jumped = clockwork.jump_at_ms < NEVER_MS
    return Clockwork(
        clockwork.centre_ms + before, clockwork.jump_at_ms,
        np.where(jumped, clockwork.jump_ms + after - before, 0),
    ), moves[part]


def shares(
    known: Known, weighed: Weighed, rings: Rings, serves: Serves, likely: Chances
) -> Known:
    """Shares of lone rings and lone serves, from the chances of all pairs.

    Each share is drawn towards a wider one: a tap's to its product's, a product's to its day's.
    """
    products, taps = known.lines.lone.shape
    day, days = weighed.fills.day, len(known.laws.solo)
    full = full_size(weighed, serves)
    real = (rings.latest == NEVER_MS) & ~is_said(rings)
    belief = priors.SHARE_BELIEF
    ring, serve = (
        _drawn(product, chance, _drawn(day[product], chance, np.full(days, usual), priors.POOL_PRIOR)[day],
               belief)
        for product, chance, usual in (
            (rings.product[real], likely.lone_ring[real], priors.LONE_RING),
            (serves.product[full], likely.lone_glass[full], priors.LONE_SERVE),
        )
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


def _drawn(code: Ints, chance: Floats, wider: Floats, belief: float) -> Floats:
    """The mean chance per code, drawn towards a wider mean."""
    number = np.bincount(code, minlength=len(wider))
    found: Floats = (np.bincount(code, chance, len(wider)) + belief * wider) / (number + belief)
    return found
