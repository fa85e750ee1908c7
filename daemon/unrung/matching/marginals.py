"""How likely each pair is, all assignments taken together.

Of all one-to-one assignments, each weighted by its likelihood, the chance of each pair is found by
belief propagation. On graphs without cycles it is exact; on others it is an approximation that
always settles (the monomer-dimer model of statistical physics; Bayati and Nair, "A rigorous proof
of the cavity method for counting matchings", 2006: from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats
from unrung.matching.costs import Edges


@dataclass(frozen=True, slots=True)
class Chances:
    """Probabilities, row for row the edges, rings and glasses."""

    pair: Floats
    lone_ring: Floats
    lone_glass: Floats


def chances(edges: Edges, rings: int, glasses: int) -> Chances:
    """The chance of every edge, and of staying alone."""
    odds = np.exp(np.minimum(edges.gain / priors.MILLINATS, 40.0))
    to_ring, to_glass = np.ones(len(odds)), np.ones(len(odds))
    for step in range(priors.BELIEF_STEPS + priors.BELIEF_MORE_STEPS):
        if step == priors.BELIEF_STEPS and _settled(edges, odds, to_ring, to_glass, glasses):
            break
        glass_sum = np.bincount(edges.glass, odds * to_glass, glasses)
        ring_news = 1 / (1 + np.maximum(glass_sum[edges.glass] - odds * to_glass, 0.0))
        to_ring = ring_news if step < priors.BELIEF_STEPS else np.sqrt(ring_news * to_ring)
        ring_sum = np.bincount(edges.ring, odds * to_ring, rings)
        glass_news = 1 / (1 + np.maximum(ring_sum[edges.ring] - odds * to_ring, 0.0))
        to_glass = glass_news if step < priors.BELIEF_STEPS else np.sqrt(glass_news * to_glass)
    both = odds * to_glass * to_ring if len(odds) else odds
    pair = both / (1 + both)
    lone_ring = 1 - np.bincount(edges.ring, pair, rings)
    lone_glass = 1 - np.bincount(edges.glass, pair, glasses)
    return Chances(pair, np.clip(lone_ring, 0, 1), np.clip(lone_glass, 0, 1))


def _settled(edges: Edges, odds: Floats, to_ring: Floats, to_glass: Floats, glasses: int) -> bool:
    """Whether the two ways to tell a serve's chance of staying alone agree: what its pairs leave, and
    what its rings say. In a crowd the plain steps swing to and fro; the middle of two settles."""
    if not len(odds):
        return True
    both = odds * to_glass * to_ring
    left = 1 - np.bincount(edges.glass, both / (1 + both), glasses)
    told = 1 / (1 + np.bincount(edges.glass, odds * to_glass, glasses))
    return float(np.abs(left - told).mean()) < priors.UNSETTLED
