"""The five records that every adapter makes, and the words used throughout.

Glossary
    ring       one sales line of the till; its *units* are its quantity
    pour       one metered flow at one tap
    reading    one raw count of a running meter
    keg event  on, off, delivery, count, transfer, return, write-off
    log entry  volume that somebody wrote down: comp, staff, waste, cleaning, ...
    portion    the liquid expected through the meter for one unit of a menu item
    serve      one or more pours that filled one vessel, or a part of one pour

Units, everywhere: volumes are whole microlitres (``_ul``), times are whole milliseconds since the
Unix epoch, UTC (``_ms``), quantities are millionths of one unit (``_micro``), money is whole minor
units of the venue's currency (``_minor``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict

RingKind = Literal["sale", "void", "refund", "comp", "training"]
KegKind = Literal["on", "off", "delivery", "count", "transfer", "return", "write_off"]
LogReason = Literal[
    "comp", "staff", "waste", "cleaning", "sample", "function", "training", "other"
]


@dataclass(frozen=True, slots=True)
class Export:
    """The bytes of one file or one response, and when we got them (UTC milliseconds).

    ``name`` is for messages only. Adapters get nothing else: no path, no network, no clock.
    """

    name: str
    content: bytes
    received_ms: int


class Record(BaseModel):
    """What all records share: where they came from."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    line: int
    """Physical line in a CSV (1 is the header), ordinal of the row in a JSON document from 1."""
    ref: str = ""
    """The source's own id of the row; empty where it has none."""
    version: str = ""
    """The source's version of the row, where mapped: the greater one wins (compared as a number
    where both are numbers, else as text)."""
    raw: str = ""
    """The mapped cells as the source wrote them, joined by U+001F: the identity of a row without an
    id, and what a person is shown."""


class Ring(Record):
    """One line of the till."""

    at_ms: int
    at_text: str
    item: str
    size: str = ""
    price_level: str = ""
    modifier: str = ""
    units_micro: int = 1_000_000
    """Quantity; negative where the till writes voids or refunds as negative lines."""
    kind: RingKind = "sale"
    amount_minor: int | None = None
    """What the line came to after discounts, as the till prints it."""
    tax_minor: int | None = None
    check: str = ""
    terminal: str = ""
    outlet: str = ""
    voided_ms: int | None = None
    """When a line of kind ``void`` was voided. With positive units the line itself is the voided
    ring, rung at ``at_ms``; with negative units it takes back an earlier line."""
    voids_ref: str = ""
    """The ``ref`` of the earlier line that this one takes back."""
    staff: str = ""
    """Empty unless the venue asked for staff names."""


class Pour(Record):
    """One metered flow. Either ``volume_ul`` or ``pulses`` is set; pulses wait for the tap's factor."""

    tap: str
    """As the source writes it: the name of a tap, or of a meter."""
    start_ms: int
    end_ms: int
    at_text: str
    volume_ul: int | None = None
    pulses: int | None = None


class Reading(Record):
    """One raw count of a running meter."""

    meter: str
    at_ms: int
    at_text: str
    total_ul: int | None = None
    pulses: int | None = None


class KegEvent(Record):
    """Something that happened to kegs. Which fields are set depends on ``kind``."""

    at_ms: int
    at_text: str
    kind: KegKind
    tap: str = ""
    product: str = ""
    outlet: str = ""
    keg: str = ""
    """The keg's own number, where the venue keeps one."""
    size_ul: int | None = None
    units_micro: int = 1_000_000
    """Full kegs delivered, counted, moved; tenths of one are allowed. A row that only speaks of a
    part-used keg has none."""
    part_ul: int | None = None
    """Beer in a part-used keg (a count, or a half-empty keg going on)."""
    gross_g: int | None = None
    tare_g: int | None = None
    cost_minor: int | None = None
    """Cost of one keg of this delivery, net of deposit and recoverable tax."""
    to_outlet: str = ""


class LogEntry(Record):
    """A volume that somebody wrote down. ``at_ms`` is None where only a day was written."""

    at_ms: int | None = None
    end_ms: int | None = None
    day: str = ""
    """ISO date of the business day where no time was written."""
    at_text: str
    reason: LogReason
    tap: str = ""
    product: str = ""
    outlet: str = ""
    item: str = ""
    """A menu item ("3 pints of stout" as item and units) in place of a volume."""
    units_micro: int = 1_000_000
    volume_ul: int | None = None


AnyRecord = Ring | Pour | Reading | KegEvent | LogEntry


@dataclass(frozen=True, slots=True)
class Reject:
    """A row that could not be read, kept aside with its reason.

    ``cells`` holds the mapped fields as text (unmapped cells are never kept).
    """

    line: int
    field: str
    value: str
    reason: str
    fix: str
    cells: dict[str, str]


class Batch(NamedTuple):
    """Some rows of an export in file order: those that could be read, column by column, and the others."""

    kind: type[Record]
    columns: Mapping[str, Sequence[Any]]
    """Field of the record to its values, one a row; a field that is not here has its default in every row.
    ``line`` is always here. Not checked yet: whoever makes records or rows of them does that."""
    rejects: Sequence[Reject] = ()
