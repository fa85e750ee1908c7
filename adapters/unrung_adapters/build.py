"""From a mapping to the function that builds the columns of its records."""

from __future__ import annotations

from collections.abc import Callable

from unrung.mapping import Mapping
from unrung.records import KegEvent, LogEntry, Pour, Reading, Record, Ring
from unrung_adapters import kegs, log, pours, rings
from unrung_adapters.batches import BuildColumns, by_row
from unrung_adapters.moments import Moments
from unrung_adapters.notes import ReadNotes
from unrung_adapters.plan import Plan, mapped_fields

ORDERS: dict[str, tuple[str, ...]] = {
    "rings": rings.ORDER,
    "pours": pours.POUR_ORDER,
    "readings": pours.READING_ORDER,
    "kegs": kegs.ORDER,
    "log": log.ORDER,
}
"""The order in which a builder takes the texts of its fields, per kind of feed."""

_BUILDERS: dict[str, tuple[type[Record], Callable[[Plan], BuildColumns]]] = {
    "rings": (Ring, rings.ring_columns),
    "pours": (Pour, pours.pour_columns),
    "readings": (Reading, pours.reading_columns),
    "kegs": (KegEvent, lambda plan: by_row(kegs.ORDER, kegs.keg_builder(plan))),
    "log": (LogEntry, lambda plan: by_row(log.ORDER, log.log_builder(plan))),
}


def column_builder(
    mapping: Mapping, received_ms: int, notes: ReadNotes
) -> tuple[type[Record], BuildColumns]:
    """What an export's rows are, and the builder of their columns; it keeps the order of times, so use it
    for one export only."""
    kind, builder = _BUILDERS[mapping.carries]
    return kind, builder(Plan(mapping, Moments(mapping, received_ms, notes), mapped_fields(mapping)))
