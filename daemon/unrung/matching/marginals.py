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
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.sides import Edges


@dataclass(frozen=True, slots=True)
class Chances:
    """Probabilities, row for row the edges, rings and glasses."""

    pair: Floats
    lone_ring: Floats
    lone_glass: Floats


def chances(edges: Edges, rings: int, glass_day: Ints) -> Chances:
    """The chance of every edge, and of staying alone; ``glass_day``: of each glass, which of several
    problems it belongs to."""
    glasses = len(glass_day)
    odds = np.exp(np.minimum(edges.gain / priors.MILLINATS, 40.0))
    to_ring, to_glass = np.ones(len(odds)), np.ones(len(odds))
    for _ in range(priors.BELIEF_STEPS):
        to_ring, to_glass = _news(edges.ring, edges.glass, odds, to_glass, rings, glasses)
    swinging = _unsettled(edges, odds, to_ring, to_glass, glass_day)
    if swinging.any():
        rows = np.flatnonzero(swinging[glass_day[edges.glass]])
        ring, glass, some = edges.ring[rows], edges.glass[rows], odds[rows]
        for _ in range(priors.BELIEF_MORE_STEPS):
            news = _news(ring, glass, some, to_glass[rows], rings, glasses, to_ring[rows])
            to_ring[rows], to_glass[rows] = news
    both = odds * to_glass * to_ring if len(odds) else odds
    pair = both / (1 + both)
    lone_ring = 1 - np.bincount(edges.ring, pair, rings)
    lone_glass = 1 - np.bincount(edges.glass, pair, glasses)
    return Chances(pair, np.clip(lone_ring, 0, 1), np.clip(lone_glass, 0, 1))


def _news(
    ring: Ints, glass: Ints, odds: Floats, to_glass: Floats, rings: int, glasses: int,
    to_ring: Floats | None = None,
) -> tuple[Floats, Floats]:
    """One step of beliefs, of which those to rings come first; given ``to_ring``, the (geometric) middle
    between the last beliefs and the next."""
    glass_sum = np.bincount(glass, odds * to_glass, glasses)
    news = 1 / (1 + np.maximum(glass_sum[glass] - odds * to_glass, 0.0))
    ring_news = news if to_ring is None else np.sqrt(news * to_ring)
    ring_sum = np.bincount(ring, odds * ring_news, rings)
    news = 1 / (1 + np.maximum(ring_sum[ring] - odds * ring_news, 0.0))
    return ring_news, news if to_ring is None else np.sqrt(news * to_glass)


def _unsettled(
    edges: Edges, odds: Floats, to_ring: Floats, to_glass: Floats, glass_day: Ints
) -> Bools:
    """Per day, whether the two ways to tell a serve's chance of staying alone contradict each other: what
    its pairs leave, and what its rings say. In a crowd the plain steps swing to and fro; the middle of two
    settles."""
    both = odds * to_glass * to_ring
    left = 1 - np.bincount(edges.glass, both / (1 + both), len(glass_day))
    told = 1 / (1 + np.bincount(edges.glass, odds * to_glass, len(glass_day)))
    apart, count = np.bincount(glass_day, np.abs(left - told)), np.bincount(glass_day)
    found: Bools = apart >= priors.UNSETTLED * np.maximum(count, 1)
    return found
