"""What a day teaches where single pairs tell nothing: only how many serves find a ring is known.

Either serves stand so close that hundreds could be a ring's, or the till only tells when a check was
closed, hours after its pours. The lags stay as they are believed before, and the shares of lone serves
and rings are those of the cheapest assignment.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import good_assignment
from unrung.matching.columns import Bools, Ints
from unrung.matching.costs import crowded_days, possible_pairs
from unrung.matching.known import Learnt, Started
from unrung.matching.laws import flat_laws
from unrung.matching.learning import price, rings_of, shares
from unrung.matching.marginals import Chances
from unrung.matching.second_look import second_look
from unrung.matching.serves import serves_of
from unrung.matching.sides import Edges, is_said
from unrung.matching.types import MatchSettings


def totals_only(started: Started, settings: MatchSettings) -> Bools:
    """Of which days single pairs tell nothing."""
    rings, _ = rings_of(started.rung, started.known)
    late = settings.window_after_ms > priors.LATE_MS
    return late | crowded_days(rings, started.glasses, started.known.laws)


def learn_totals(started: Started, settings: MatchSettings, lo_ms: Ints) -> Learnt:
    """Learn from one day's rows: the cut and the shares, from one assignment."""
    weighed, known, serves, glasses = started.weighed, started.known, started.serves, started.glasses
    if settings.window_after_ms > priors.LATE_MS:
        known = replace(known, laws=flat_laws(settings))
    rings, order = rings_of(started.rung, known)
    edges = possible_pairs(rings, glasses, known.laws, blurred=True)
    partner = good_assignment(edges, len(order))
    cut = second_look(
        weighed, started.cut, serves, edges, partner, rings, known.laws, known.lines
    )
    known = shares(known, weighed, rings, serves, as_assigned(edges, partner, len(glasses.end)))
    serves = serves_of(weighed, cut, lo_ms)
    paired = np.flatnonzero((partner >= 0) & ~is_said(rings))
    residual = rings.corrected[paired] - glasses.end[partner[paired]]
    rings, order = rings_of(started.rung, known)
    return Learnt(
        serves, price(weighed, serves, known), rings, order, known, residual,
        np.zeros(len(residual), np.int64), np.zeros(len(order), np.bool_), np.zeros(len(serves.at), np.bool_),
    )


def as_assigned(edges: Edges, partner: Ints, glasses: int) -> Chances:
    """The assignment as if it were certain."""
    pair = (partner[edges.ring] == edges.glass).astype(float)
    lone = np.ones(glasses)
    lone[partner[partner >= 0]] = 0.0
    return Chances(pair, (partner < 0).astype(float), lone)
