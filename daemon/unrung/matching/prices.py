"""What a ring, or a serve, more or less would be worth to a whole assignment.

A new serve may take a ring from another, which takes the next best, and so on along an alternating
path: the shadow prices of the assignment problem (its linear programme's dual; Kuhn, "The Hungarian
method for the assignment problem", 1955: from memory). Found here by a few rounds of value
iteration, which never overstates what a path brings.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.sides import Edges


class Prices(NamedTuple):
    """Natural logarithms, row for row the rings."""

    take: Floats
    """What taking a ring costs the serve that holds it, less what that serve finds instead."""
    spare: Floats
    """What one more such ring would bring."""


def prices_of(edges: Edges, partner: Ints, glasses: int) -> Prices:
    """Prices under the best assignment ``partner`` of ``edges``."""
    gain = edges.gain / priors.MILLINATS
    chosen = partner[edges.ring] == edges.glass
    ring_gain, glass_gain = np.zeros(len(partner)), np.zeros(glasses)
    ring_gain[edges.ring[chosen]] = gain[chosen]
    glass_gain[edges.glass[chosen]] = gain[chosen]
    holder = np.full(glasses, len(partner))
    holder[edges.glass[chosen]] = edges.ring[chosen]
    partner = np.where(partner < 0, glasses, partner)
    by_glass = np.argsort(edges.glass, kind="stable")
    other = ~chosen
    spare = _values(edges.ring, edges.glass, gain, other, len(partner), glass_gain, holder)
    more = _values(
        edges.glass[by_glass], edges.ring[by_glass], gain[by_glass], other[by_glass], glasses,
        ring_gain, partner,
    )
    return Prices(ring_gain - np.append(more, 0.0)[partner], spare)


def _values(
    mine: Ints, theirs: Ints, gain: Floats, other: Bools, count: int, held_gain: Floats, holder: Ints
) -> Floats:
    """What one more of each of ``mine`` would bring: it takes one of ``theirs``, whose holder takes
    another. ``mine`` is sorted."""
    value = np.zeros(count + 1)
    mine, theirs, gain = mine[other], theirs[other], gain[other]
    if not len(mine):
        return value[:count]
    begin = np.flatnonzero(np.diff(mine, prepend=-1))
    rows = mine[begin]
    for _ in range(priors.PRICE_STEPS):
        worth = gain - (held_gain - value[holder])[theirs]
        value[rows] = np.maximum(np.maximum.reduceat(worth, begin), 0.0)
    return value[:count]
