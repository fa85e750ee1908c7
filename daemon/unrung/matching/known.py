"""What is known of days while it is learnt, and what comes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from unrung.matching.clockwork import Clockwork
from unrung.matching.columns import Bools, Floats, Ints, Units
from unrung.matching.confusion import Confusion
from unrung.matching.laws import Laws
from unrung.matching.rounds import Mates
from unrung.matching.serves import Cut, Lines, Serves, Weighed
from unrung.matching.sides import Glasses, Rings


@dataclass(frozen=True, slots=True)
class Known:
    """What is believed about the days' lags and prices."""

    clockwork: Clockwork
    laws: Laws
    mates: Mates
    lone_ring: Floats
    """Per product, share of rings without a pour."""
    lines: Lines
    confusion: Confusion = ()
    """Products that are rung for one another."""


@dataclass(frozen=True, slots=True)
class Rung:
    """The days' ring units, and what does not change while learning."""

    days: Sequence[int]
    units: Units
    day: Ints
    """Which of the days each unit is of, rising."""
    centre: Floats
    """Log of what a glass sold as this portion holds."""
    rounds: Ints
    rate: Floats
    """Rings of the same product per second around each ring."""
    said: Rings
    """The days' log entries, as the assignment sees them."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """The result: serves and rings priced, and the lags that stand behind the clock."""

    serves: Serves
    glasses: Glasses
    rings: Rings
    order: Ints
    """The unit that each row of ``rings`` is; numbers beyond the units are log entries."""
    known: Known
    residual_ms: Ints
    """Residual lags of the last provisional pairs,"""
    residual_day: Ints
    """and their days."""
    well_ring: Bools
    """Per ring, whether it had a good serve in the last round,"""
    well_serve: Bools
    """and per serve, whether it stood already then and had a good ring."""


@dataclass(frozen=True, slots=True)
class Started:
    """Days before anything is learnt from its pairs."""

    weighed: Weighed
    rung: Rung
    cut: Cut
    serves: Serves
    known: Known
    glasses: Glasses
