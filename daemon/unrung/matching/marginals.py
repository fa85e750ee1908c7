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
    to_glass = np.ones(len(odds))
    for _ in range(priors.BELIEF_STEPS):
        glass_sum = np.bincount(edges.glass, odds * to_glass, glasses)
        to_ring = 1 / (1 + np.maximum(glass_sum[edges.glass] - odds * to_glass, 0.0))
        ring_sum = np.bincount(edges.ring, odds * to_ring, rings)
        to_glass = 1 / (1 + np.maximum(ring_sum[edges.ring] - odds * to_ring, 0.0))
    both = odds * to_glass * to_ring if len(odds) else odds
    pair = both / (1 + both)
    lone_ring = 1 - np.bincount(edges.ring, pair, rings)
    lone_glass = 1 - np.bincount(edges.glass, pair, glasses)
    return Chances(pair, np.clip(lone_ring, 0, 1), np.clip(lone_glass, 0, 1))
