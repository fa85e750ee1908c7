"""A simulated month through ledger and findings in memory: no files, no store."""

from __future__ import annotations

import tempfile
from bisect import bisect_right
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

from simulator import SimMonth
from simulator.model import SimLog
from simulator.tables import write_tables
from simulator.venue_toml import venue_toml
from simulator.venues import SIZE_OZ
from unrung.config_folder import load
from unrung.ledger.day import compute_day
from unrung.ledger.inputs import DayInputs, KegLine, LogLine, Origin, PourLine, RingLine
from unrung.ledger.material import Material, make_materials
from unrung.ledger.results import DayLedger
from unrung.ledger.sealed import NOTHING
from unrung.settings import Settings
from unrung.units import UNITS_UL

TOGETHER = 5
"""Days made ready in one go; more take more memory."""


def settings_of(month: SimMonth) -> Settings:
    """The month's config folder, read as the program reads it."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "venue.toml").write_text(venue_toml(month, "csv", False), encoding="utf-8")
        write_tables(month, place, False)
        return load(place)


def ledgers(month: SimMonth, settings: Settings) -> Iterator[DayLedger]:
    """Every day's ledger, in order; no more than a few days' materials are held."""
    before: Material | None = None
    today: Material | None = None
    for after in chain(_materials(month, settings), [None]):
        if today is not None:
            yield compute_day(before, today, after, settings, {1: "simulated"})
        before, today = today, after


def _materials(month: SimMonth, settings: Settings) -> Iterator[Material]:
    """The days in order, ``TOGETHER`` made ready at a time."""
    days = [(inputs, NOTHING) for inputs in inputs_of(month)]
    for first in range(0, len(days), TOGETHER):
        yield from make_materials(days[first : first + TOGETHER], settings)


def inputs_of(month: SimMonth) -> list[DayInputs]:
    """Each business day's movements, as the store would give them."""
    days = [
        DayInputs(day.date, (day.start_ms, day.end_ms), ring_cover=[(day.start_ms, day.end_ms)],
                  pour_cover=[(day.start_ms, day.end_ms)])
        for day in month.days
    ]
    starts = [inputs.bounds[0] for inputs in days]

    def at(moment: int) -> DayInputs:
        return days[min(max(bisect_right(starts, moment) - 1, 0), len(days) - 1)]

    by_date = {inputs.day: inputs for inputs in days}
    end = days[-1].bounds[1]
    for ring in month.rings:
        if ring.at_ms < end:
            at(ring.at_ms).rings.append(RingLine(
                ring.id, _origin("till", ring.id), ring.at_ms, ring.item, ring.size, "", "",
                ring.units_micro, ring.kind, ring.amount_minor, None, ring.check, ring.terminal,
                ring.outlet, ring.voided_ms, ""))
    for pour in month.pours:
        if pour.end_ms < end:
            at(pour.end_ms).pours.append(PourLine(
                10_000_000 + pour.id, _origin("meters", pour.id), pour.tap, pour.start_ms,
                pour.end_ms, pour.volume_ul, None))
    for keg in month.kegs:
        more = {"keg": keg.keg, "size_ul": keg.size_ul, "part_ul": keg.part_ul}
        at(keg.at_ms).kegs.append(KegLine(
            20_000_000 + keg.id, _origin("kegs", keg.id), keg.at_ms, keg.kind, keg.outlet, keg.tap,
            keg.product, keg.units * 1_000_000, more))
    for entry in month.log:
        inputs = by_date.get(entry.day) if entry.day else at(entry.at_ms or 0)
        if inputs is not None:
            inputs.logs.append(_log(entry))
    return days


def _log(entry: SimLog) -> LogLine:
    volume = entry.volume_ul
    if volume is None and entry.size:
        volume = round(SIZE_OZ[entry.size] * entry.units * UNITS_UL["us_fl_oz"])
    return LogLine(
        30_000_000 + entry.id, _origin("log", entry.id), entry.at_ms, entry.end_ms,
        entry.day.isoformat() if entry.day else "", entry.reason, entry.outlet, entry.tap,
        entry.product, "", 1_000_000, volume)


def _origin(feed: str, number: int) -> Origin:
    return Origin(feed, 1, number, str(number))
