"""Which pairs could as well be others, and how far a product's total could be off."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from unrung.matching.columns import Bools, Ints
from unrung.matching.costs import Edges
from unrung.matching.prepare import Prepared

DOUBT = 1_100
"""A rival within a factor of three (thousandths of a nat) makes a pair uncertain."""


def doubtful(edges: Edges, partner: Ints, glasses: int) -> Bools:
    """Serves that another ring, or nobody, would suit about as well."""
    owner = np.full(glasses, -1, np.int64)
    ring = np.flatnonzero(partner >= 0)
    owner[partner[ring]] = ring
    mine = partner[edges.ring] == edges.glass
    ring_gain = np.zeros(len(partner), np.int64)
    ring_gain[edges.ring[mine]] = edges.gain[mine]
    glass_gain = np.zeros(glasses, np.int64)
    glass_gain[edges.glass[mine]] = edges.gain[mine]
    unsure = np.zeros(glasses, np.bool_)
    # Both left alone; the ring with a free serve in place of its own; the serve with a free ring.
    unsure[edges.glass[mine & (edges.gain < DOUBT)]] = True
    loss = ring_gain[edges.ring] - edges.gain
    swap = ~mine & (owner[edges.glass] < 0) & (loss < DOUBT)
    unsure[edges.glass[swap]] = True
    unsure[partner[edges.ring[swap & (partner[edges.ring] >= 0)]]] = True
    swap = ~mine & (partner[edges.ring] < 0) & (glass_gain[edges.glass] - edges.gain < DOUBT)
    unsure[edges.glass[swap]] = True
    return unsure


def plausible_range(day: Prepared, paired: Bools, unsure: Bools) -> Mapping[str, tuple[int, int]]:
    """Per product: low and high plausible volume of its unpaired serves, microlitres."""
    volume, product = day.serves.volume, day.serves.product
    found: dict[str, tuple[int, int]] = {}
    for code, name in enumerate(day.products):
        mine = product == code
        total = int(volume[mine & ~paired].sum())
        spread = 1.645 * float(np.sqrt((0.25 * (volume[mine & unsure].astype(float)) ** 2).sum()))
        found[name] = (max(0, round(total - spread)), round(total + spread))
    return found
