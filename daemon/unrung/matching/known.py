"""What is known of a day while it is learnt, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass

from unrung.matching.clockwork import Clockwork
from unrung.matching.columns import Floats, Ints, Units
from unrung.matching.confusion import Confusion
from unrung.matching.costs import Glasses, Rings
from unrung.matching.laws import Laws
from unrung.matching.rounds import Mates
from unrung.matching.serves import Cut, Lines, Serves, Weighed


@dataclass(frozen=True, slots=True)
class Known:
    """What is believed about the day's lags and prices."""

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
    """The day's ring units, and what does not change while learning."""

    units: Units
    centre: Floats
    """Log of what a glass sold as this portion holds."""
    rounds: Ints
    rate: Floats
    """Rings of the same product per second around each ring."""
    said: Rings
    """The day's log entries, as the assignment sees them."""


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
    """Residual lags of the last provisional pairs."""


@dataclass(frozen=True, slots=True)
class Started:
    """A day before anything is learnt from its pairs."""

    weighed: Weighed
    rung: Rung
    cut: Cut
    serves: Serves
    known: Known
    glasses: Glasses
