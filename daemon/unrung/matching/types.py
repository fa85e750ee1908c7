"""What matching takes in and gives back. Plain tuples, so that callers need no numpy.

Keys are the caller's own integers; they identify, and never decide a match: order and ties are
settled by content, so that rows given in another order give the same result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple


class MeteredPour(NamedTuple):
    """One metered flow of beer at one tap."""

    key: int
    tap: str
    product: str
    start_ms: int
    end_ms: int
    volume_ul: int


class RingUnit(NamedTuple):
    """One portion of one product that the till says was sold: one unit of one ring."""

    key: int
    product: str
    at_ms: int
    """As the till's clock has it."""
    portion_ul: int
    check: str = ""
    terminal: str = ""
    voided_ms: int | None = None
    """The ring was voided at this time by the till's clock: it may pair only with a serve that
    ended before, and costs little to leave unpaired."""


class Entry(NamedTuple):
    """One vessel's volume of one product that somebody wrote down, with a time. It tells which serve
    needs no ring, so that none is taken for it from another."""

    product: str
    at_ms: int
    """As written; people's clocks are taken as the meters'."""
    volume_ul: int


class KegOn(NamedTuple):
    """A keg that went on: what flows right after it is likely run off, and rung by nobody."""

    tap: str
    """As the pours name it."""
    at_ms: int


class Serve(NamedTuple):
    """What filled one vessel: one or more pours, or a part of one."""

    product: str
    tap: str
    start_ms: int
    end_ms: int
    volume_ul: int
    parts: tuple[tuple[int, int], ...]
    """(pour key, microlitres of that pour); the parts of all serves of a pour sum to the pour."""
    unit_key: int | None
    """The ring unit it is paired with."""
    uncertain: bool = False
    """Another partner is about as likely: totals hold, this single pair may not."""
    said: bool = False
    """Of those without a ring: one that somebody likely wrote down."""


@dataclass(frozen=True, slots=True)
class MatchSettings:
    """The venue's ``[matching]`` table; times in milliseconds."""

    window_before_ms: int = 20 * 60_000
    """A ring may come this long before the end of its pour (after clock correction)."""
    window_after_ms: int = 90 * 60_000
    """A ring may come this long after the end of its pour."""
    clock_offset_ms: int | None = None
    """Pins the till clock's lead over the meter clock; None: learnt each day."""
    top_up_gap_ms: int = 120_000
    """Fragments on one tap further apart than this never belong to one serve."""
    entry_before_ms: int = 30 * 60_000
    """A log entry tells of pours that ended this long before it,"""
    entry_after_ms: int = 10 * 60_000
    """or this long after it."""


@dataclass(frozen=True, slots=True)
class Clock:
    """What a day taught about the two clocks and the usual lag."""

    offset_ms: int = 0
    """Till clock minus meter clock, together with the usual lag's centre."""
    doubt_ms: int = 0
    """By how much chance may have moved that centre."""
    pairs: int = 0
    """How many provisional pairs stand behind it; below the needed number the prior is used."""
    jump_at_ms: int | None = None
    """Where within the day the offset jumped, if it did."""
    jump_ms: int = 0


@dataclass(frozen=True, slots=True)
class Matched:
    """One day of one outlet or pool."""

    serves: Sequence[Serve]
    """Every serve whose pour ended in the day."""
    lone_units: Sequence[tuple[int, int]]
    """(unit key, corrected time in ms) of every unpaired ring unit that belongs to the day by its
    corrected time; may come from a neighbouring day's units."""
    clock: Clock = field(default_factory=Clock)
    pour_not_rung_range_ul: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Per product: low and high plausible total of unpaired serves (90 %)."""
    single_pours: bool = True
    """False: serves stand so close, or rings come so late, that only totals can be told; which pour
    has no ring cannot, and every serve is uncertain."""
