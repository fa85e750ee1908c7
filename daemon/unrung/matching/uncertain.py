"""Which pairs could as well be others, and how far a product's total could be off."""

from __future__ import annotations

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.marginals import Chances
from unrung.matching.sides import Edges


def doubtful(edges: Edges, partner: Ints, likely: Chances) -> Bools:
    """Serves of which less than ``SURE`` of the likelihood says what the assignment says: that
    this ring is theirs, or that none is."""
    chosen = partner[edges.ring] == edges.glass
    chance = likely.lone_glass.copy()
    chance[edges.glass[chosen]] = likely.pair[chosen]
    found: Bools = chance < priors.SURE
    return found


def plausible_range(
    product: Ints, volume: Ints, lone: Bools, chance: Floats, products: int
) -> list[tuple[int, int]]:
    """Per product, low and high plausible volume of its lone serves (90 %), microlitres.

    ``chance`` that each serve is lone. The spread is that of independent serves; the factors are
    set on simulated months, so that the truth lies inside nine times in ten.
    """
    total = np.bincount(product, np.where(lone, volume, 0), products)
    doubt = np.where(np.minimum(chance, 1 - chance) > priors.SETTLED, chance * (1 - chance), 0.0)
    spread = np.sqrt(np.bincount(product, volume.astype(float) ** 2 * doubt, products))
    low = np.maximum(total - priors.RANGE_DOWN * spread, 0.0)
    high = total + priors.RANGE_UP * spread
    return list(
        zip(np.floor(low).astype(int).tolist(), np.ceil(high).astype(int).tolist(), strict=True)
    )
