"""What a simulated month is made of. Volumes in whole µL, times in ms UTC, money in minor units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from simulator.venues import Item


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a metered pour: what it was, and whose."""

    label: str
    """serve, staff, waste, comp, sample, leak, keg_change, keg_change_loss, cleaning, water, gas,
    unlogged_cleaning, unlogged_water."""
    volume_ul: int
    """Measured; the parts of a pour sum to it."""
    serve_id: int | None = None
    unit_id: int | None = None
    """The ring unit that was rung for it, in truth (also one of another product: ``mis_ring``)."""


@dataclass(frozen=True, slots=True)
class SimPour:
    """One metered flow, as the meter system writes it, and what it was in truth."""

    id: int
    outlet: str
    tap: str
    """The feed's name: the faucet, or the meter where several faucets share it."""
    meter: str
    product: str
    """By the tap list."""
    true_product: str
    start_ms: int
    end_ms: int
    pulses: int
    volume_ul: int
    """As metered."""
    true_volume_ul: int
    parts: tuple[Part, ...]
    faucets: tuple[str, ...]

    @property
    def label(self) -> str:
        return self.parts[0].label

    @property
    def serve_id(self) -> int | None:
        return self.parts[0].serve_id

    @property
    def unit_id(self) -> int | None:
        return self.parts[0].unit_id


@dataclass(frozen=True, slots=True)
class RingLine:
    """One line of the till. ``portions`` is empty for what is not draught."""

    id: int
    outlet: str
    terminal: str
    check: str
    item: str
    size: str
    portions: tuple[tuple[str, int], ...]
    units_micro: int
    at_ms: int
    """By the till's clock, whole seconds."""
    true_ms: int
    kind: str
    voided_ms: int | None
    """By the till's clock."""
    amount_minor: int


@dataclass(frozen=True, slots=True)
class TrueUnit:
    """One portion of one whole unit, and the serve it was rung for."""

    id: int
    lines: tuple[tuple[int, int], ...]
    """(ring line, millionths of a unit) that make it up."""
    portion: int
    """Index of the portion in the item."""
    product: str
    portion_ul: int
    outlet: str
    at_ms: int
    """True time of its first line."""
    serve_id: int | None
    voided: bool
    why: str
    """Where no serve of its product answers it: mis_ring, tap_list, feed_gap, void, training."""


@dataclass(frozen=True, slots=True)
class SimServe:
    """What filled one vessel, in truth."""

    id: int
    label: str
    outlet: str
    product: str
    """By the tap list; ``true_product`` is what was in the glass."""
    true_product: str
    start_ms: int
    end_ms: int
    volume_ul: int
    """Measured."""
    set_portion_ul: int
    """What its ring is set to; the poured item's portion where nothing was rung."""
    unit_id: int | None
    cause: str
    """Why no ring of its product answers it; empty where one does, or where it is written down."""
    extras: Mapping[str, int]
    """Measured µL beyond the set portion, by cause; the rest of the difference is noise."""


@dataclass(frozen=True, slots=True)
class SimLog:
    """A volume that somebody wrote down."""

    id: int
    reason: str
    at_ms: int | None
    end_ms: int | None
    day: date | None
    tap: str
    outlet: str
    product: str
    item: str
    size: str
    units: int
    volume_ul: int | None
    serve_ids: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class SimKeg:
    """Something that happened to kegs."""

    id: int
    at_ms: int
    kind: str
    tap: str
    outlet: str
    product: str
    keg: str
    size_ul: int | None
    units: int
    part_ul: int | None
    cost_minor: int | None
    true_content_ul: int | None
    label: str = ""
    """keg_short_fill where its contents are short."""


@dataclass(frozen=True, slots=True)
class SimCleaning:
    """A line cleaning; ``logged`` ones stand in the log too."""

    line: str
    outlet: str
    start_ms: int
    end_ms: int
    logged: bool


@dataclass(frozen=True, slots=True)
class SimGap:
    """A span whose rows never reached us: of an outlet's till, or of a meter."""

    side: str
    name: str
    start_ms: int
    end_ms: int
    rows: int


@dataclass(frozen=True, slots=True)
class SimClock:
    """From when on the till clock leads the meter clock by how much."""

    from_ms: int
    offset_ms: int


@dataclass(frozen=True, slots=True)
class MenuSpan:
    """An item of an outlet's menu and the days on which it is made so, both included."""

    outlet: str
    item: Item
    from_day: date | None
    to_day: date | None


@dataclass(frozen=True, slots=True)
class TapSpan:
    """A row of the tap list; both days included."""

    tap: str
    meter: str
    outlet: str
    product: str
    from_day: date | None
    to_day: date | None
    line_ul: int
    """Beer that the line holds."""


@dataclass(slots=True)
class TruthRow:
    """One business day × pool (or outlet) × product by the tap list, in measured µL.

    poured = matched_portion + sum(difference) + logged + not_beer + not_compared
             + poured_not_rung, and poured_not_rung = sum(by_cause); exactly.
    """

    poured_true: int = 0
    """What really flowed, beer only."""
    poured: int = 0
    matched_portion: int = 0
    difference: dict[str, int] = field(default_factory=dict)
    """Of matched serves, metered less set, by cause; "noise" is the ordinary part."""
    logged: int = 0
    not_beer: int = 0
    not_compared: int = 0
    """Poured while the till's lines are missing (``feed_gap``)."""
    poured_not_rung: int = 0
    by_cause: dict[str, int] = field(default_factory=dict)
    voided_after_pour: int = 0
    """Part of ``poured_not_rung`` whose ring was voided after the pour."""
    rung_not_poured: int = 0
    rung_by_cause: dict[str, int] = field(default_factory=dict)


TruthKey = tuple[date, str, str]
"""(business day, pool or outlet, product by the tap list)."""
