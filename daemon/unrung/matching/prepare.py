"""One business day made ready: serves built, clock and lag learnt, every price set.

A function of that day's rows alone, so that two neighbouring days read the same ``Prepared``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching.columns import Ints, after_keg, entry_columns, pour_columns, unit_columns
from unrung.matching.confusion import Confusion
from unrung.matching.costs import Glasses, Rings
from unrung.matching.crowd_learning import learn_totals, totals_only
from unrung.matching.fills import sizes_of
from unrung.matching.known import Learnt
from unrung.matching.laws import Laws
from unrung.matching.learning import learn, start
from unrung.matching.serves import Serves
from unrung.matching.types import Clock, Entry, KegOn, MatchSettings, MeteredPour, RingUnit


@dataclass(frozen=True, slots=True)
class Prepared:
    """One day of one outlet or pool; opaque to callers."""

    bounds: tuple[int, int]
    products: tuple[str, ...]
    taps: tuple[str, ...]
    serves: Serves
    glasses: Glasses
    """Row for row the serves, as the assignment sees them."""
    rings: Rings
    """With the day's log entries."""
    ring_key: Ints
    """-1 for log entries."""
    laws: Laws
    clock: Clock
    confusion: Confusion
    blurred: bool
    """Single pairs tell nothing: serves stand too close, or rings come too late."""


def prepare(
    pours: Sequence[MeteredPour],
    units: Sequence[RingUnit],
    sizes: Mapping[str, Sequence[int]],
    bounds: tuple[int, int],
    settings: MatchSettings,
    entries: Sequence[Entry] = (),
    kegs: Sequence[KegOn] = (),
) -> Prepared:
    """Build the day's serves and learn its clock and lag.

    ``pours`` ended, and ``units`` were rung (by the till's own clock), within ``bounds``;
    ``sizes`` are the menu's portions of each product in microlitres; ``entries`` what was written
    down with a time; ``kegs`` those that went on.
    """
    products = tuple(sorted({p.product for p in pours} | {u.product for u in units}))
    poured, rung = pour_columns(pours, products), unit_columns(units, products)
    known = sizes_of(products, sizes, rung.product, rung.portion)
    said = entry_columns(entries, products)
    started = start(poured, after_keg(poured, kegs), rung, said, known, settings, bounds[0])
    blurred = totals_only(started, settings)
    learnt = (learn_totals if blurred else learn)(started, settings, bounds[0])
    return Prepared(
        bounds, products, poured.taps, learnt.serves, learnt.glasses, learnt.rings,
        np.append(rung.key, -1)[np.minimum(learnt.order, len(rung.key))], learnt.known.laws, _clock(learnt),
        learnt.known.confusion, blurred,
    )


def _clock(learnt: Learnt) -> Clock:
    clockwork, residual = learnt.known.clockwork, learnt.residual_ms
    low, high = np.quantile(residual, (0.25, 0.75)) if len(residual) else (0.0, 0.0)
    return Clock(
        clockwork.centre_ms, round((high - low) / 2), len(residual), clockwork.jump_at_ms,
        clockwork.jump_ms,
    )
