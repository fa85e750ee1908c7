"""Movements as typed lines: what the store's rows become before anything is calculated."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

from unrung.ledger.tuples import made


class Origin(NamedTuple):
    """Where a line came from: enough to walk back to it."""

    feed: str
    source: int
    line: int
    ref: str


class RingLine(NamedTuple):
    id: int
    origin: Origin
    at_ms: int
    item: str
    size: str
    price_level: str
    modifier: str
    units_micro: int
    kind: str
    amount_minor: int | None
    tax_minor: int | None
    check: str
    terminal: str
    outlet: str
    voided_ms: int | None
    voids_ref: str


class PourLine(NamedTuple):
    id: int
    origin: Origin
    tap: str
    start_ms: int
    end_ms: int
    volume_ul: int | None
    pulses: int | None
    span: bool = False
    """It flowed at some time between start and end, not from one to the other."""


class ReadingLine(NamedTuple):
    id: int
    origin: Origin
    meter: str
    at_ms: int
    total_ul: int | None
    pulses: int | None


class Blind(NamedTuple):
    """A span of which it is not known what flowed through a meter, or on which side of a day's edge."""

    meter: str
    start_ms: int
    end_ms: int
    why: str = ""
    """What its readings did; empty where nothing is wrong with them."""


class LogLine(NamedTuple):
    id: int
    origin: Origin
    at_ms: int | None
    end_ms: int | None
    day: str
    reason: str
    outlet: str
    tap: str
    product: str
    item: str
    units_micro: int
    volume_ul: int | None


class KegLine(NamedTuple):
    id: int
    origin: Origin
    at_ms: int
    kind: str
    outlet: str
    tap: str
    product: str
    units_micro: int
    more: Mapping[str, Any]


@dataclass(slots=True)
class DayInputs:
    """The movements of one business day, and what of the day each side's feeds cover."""

    day: date
    bounds: tuple[int, int]
    rings: list[RingLine] = field(default_factory=list)
    pours: list[PourLine] = field(default_factory=list)
    logs: list[LogLine] = field(default_factory=list)
    kegs: list[KegLine] = field(default_factory=list)
    ring_cover: list[tuple[int, int]] = field(default_factory=list)
    """Spans (UTC ms) that every ring feed covers."""
    pour_cover: list[tuple[int, int]] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    cleaning: list[LogLine] = field(default_factory=list)
    """Cleaning entries of the day before whose span reaches into this one."""
    blind: list[Blind] = field(default_factory=list)


COLUMNS = {
    "ring": ("at_ms", "item", "size", "price_level", "modifier", "units_micro", "what", "amount_minor",
             "tax_minor", "check_no", "terminal", "outlet", "voided_ms", "voids_ref"),
    "pour": ("tap", "start_ms", "at_ms", "volume_ul", "pulses"),
    "reading": ("tap", "at_ms", "volume_ul", "pulses"),
    "log": ("at_ms", "end_ms", "coalesce(day, '')", "what", "outlet", "tap", "product", "item", "units_micro",
            "volume_ul"),
    "keg": ("at_ms", "what", "outlet", "tap", "product", "units_micro", "coalesce(more, '{}')"),
}
"""What a line of each kind is made of, in the store's words, behind its id and ``ORIGIN``."""
ORIGIN = ("feed", "source", "line", "ref")


def fill(inputs: DayInputs, kind: str, rows: Sequence[Sequence[Any]]) -> DayInputs:
    """Add the store's rows of ``kind`` to ``inputs``: tuples of id, ``ORIGIN`` and ``COLUMNS``."""
    match kind:
        case "ring":
            inputs.rings += made(RingLine, _with_origin(rows))
        case "pour":
            inputs.pours += made(PourLine, _with_origin(rows, False))
        case "log":
            inputs.logs += [LogLine(row[0], Origin(*row[1:5]), *row[5:]) for row in rows]
        case "keg":
            inputs.kegs += [
                KegLine._make((row[0], Origin(*row[1:5]), *row[5:11], json.loads(row[11]))) for row in rows
            ]
    return inputs


def _with_origin(rows: Sequence[Sequence[Any]], *more: object) -> Iterable[tuple[Any, ...]]:
    """Id, origin and the rest of each row, and ``more`` behind it."""
    if not rows:
        return ()
    ids, *rest = zip(*rows, strict=True)
    origins = made(Origin, zip(*rest[: len(ORIGIN)], strict=True))
    return zip(ids, origins, *rest[len(ORIGIN) :], *([value] * len(rows) for value in more), strict=True)


def reading(row: Sequence[Any]) -> ReadingLine:
    """A store's row of kind ``reading``."""
    return ReadingLine(row[0], Origin(*row[1:5]), *row[5:])
