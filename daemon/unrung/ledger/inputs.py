"""Movements as typed lines: what the store's rows become before anything is calculated."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple


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


def fill(inputs: DayInputs, rows: Iterable[Mapping[str, Any]]) -> DayInputs:
    """Sort the store's rows into ``inputs``; rows of other kinds are passed over."""
    for row in rows:
        origin = Origin(row["feed"], row["source"], row["line"], row["ref"])
        match row["kind"]:
            case "ring":
                inputs.rings.append(_ring(row, origin))
            case "pour":
                inputs.pours.append(
                    PourLine(row["id"], origin, row["tap"], row["start_ms"], row["at_ms"],
                             row["volume_ul"], row["pulses"])
                )
            case "log":
                inputs.logs.append(_log(row, origin))
            case "keg":
                inputs.kegs.append(
                    KegLine(row["id"], origin, row["at_ms"], row["what"], row["outlet"], row["tap"],
                            row["product"], row["units_micro"], json.loads(row["more"] or "{}"))
                )
    return inputs


def reading(row: Mapping[str, Any]) -> ReadingLine:
    """A store's row of kind ``reading``."""
    origin = Origin(row["feed"], row["source"], row["line"], row["ref"])
    return ReadingLine(row["id"], origin, row["tap"], row["at_ms"], row["volume_ul"], row["pulses"])


def _ring(row: Mapping[str, Any], origin: Origin) -> RingLine:
    return RingLine(
        row["id"], origin, row["at_ms"], row["item"], row["size"], row["price_level"], row["modifier"],
        row["units_micro"], row["what"], row["amount_minor"], row["tax_minor"], row["check_no"],
        row["terminal"], row["outlet"], row["voided_ms"], row["voids_ref"],
    )


def _log(row: Mapping[str, Any], origin: Origin) -> LogLine:
    return LogLine(
        row["id"], origin, row["at_ms"], row["end_ms"], row["day"] or "", row["what"], row["outlet"],
        row["tap"], row["product"], row["item"], row["units_micro"], row["volume_ul"],
    )
