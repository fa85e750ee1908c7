"""Readings of a running meter in memory, and what the ledger makes of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from unrung.ledger.inputs import Blind, Origin, PourLine, ReadingLine
from unrung.ledger.readings import Counters, metered
from unrung.ledger.taps import TapList
from unrung.mapping import Formats
from unrung.settings import Feed, Matching, TapRow, Venue
from unrung.units import to_ul

VENUE = Venue(name="The Test Jug", timezone="America/New_York")
SECOND, MINUTE, HOUR = 1_000, 60_000, 3_600_000
DAY = (1_749_542_400_000, 1_749_628_800_000)
"""10 June 2025 from four in the morning, New York."""
LO, HI = DAY
NOON = LO + 8 * HOUR


def feed(resolution: str = "single", unit: str = "l") -> Feed:
    formats = Formats.model_validate({"volume_unit": unit})
    return Feed.model_validate({
        "name": "meters", "carries": "readings", "adapter": "csv", "fields": {}, "formats": formats,
        "resolution": resolution, "folder": "x",
    })


def counters(*, modulus: str | None = None, per_litre: str | None = None, resolution: str = "single",
             unit: str = "l") -> Counters:
    tap = TapRow(
        tap="1", meter="M1", outlet="Bar", product="Amber",
        counter_modulus=None if modulus is None else Decimal(modulus),
        pulses_per_litre=None if per_litre is None else Decimal(per_litre),
    )
    return Counters(TapList([tap], VENUE), [feed(resolution, unit)], Matching())


def litres(*readings: tuple[int, Any], unit: str = "l", source: int = 1) -> list[ReadingLine]:
    """Readings as (time, total in ``unit``)."""
    return [
        ReadingLine(number, Origin("meters", source, number + 1, ""), "M1", at_ms,
                    to_ul(Decimal(str(total)), unit), None)
        for number, (at_ms, total) in enumerate(readings, 1)
    ]


def pulses(*readings: tuple[int, int]) -> list[ReadingLine]:
    return [line._replace(total_ul=None, pulses=total)
            for line, (_, total) in zip(litres(*readings), readings, strict=True)]


def read(lines: Iterable[ReadingLine], day: tuple[int, int] = DAY, **options: Any
         ) -> tuple[list[PourLine], list[Blind]]:
    return metered(lines, day, counters(**options))


def told(lines: Sequence[PourLine]) -> list[tuple[int, int, int | None, bool]]:
    """Start, end, millilitres, and whether it has a time."""
    volumes = [None if line.volume_ul is None else line.volume_ul // 1000 for line in lines]
    return [
        (line.start_ms, line.end_ms, ml, not line.span) for line, ml in zip(lines, volumes, strict=True)
    ]
