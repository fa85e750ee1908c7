"""From a mapping to the function that builds its records."""

from __future__ import annotations

from collections.abc import Callable

from unrung.mapping import Mapping
from unrung_adapters import kegs, log, pours, rings
from unrung_adapters.moments import Moments
from unrung_adapters.notes import ReadNotes
from unrung_adapters.plan import Build, Plan, mapped_fields

ORDERS: dict[str, tuple[str, ...]] = {
    "rings": rings.ORDER,
    "pours": pours.POUR_ORDER,
    "readings": pours.READING_ORDER,
    "kegs": kegs.ORDER,
    "log": log.ORDER,
}
"""The order in which a builder takes the texts of its fields, per kind of feed."""

_BUILDERS: dict[str, Callable[[Plan], Build]] = {
    "rings": rings.ring_builder,
    "pours": pours.pour_builder,
    "readings": pours.reading_builder,
    "kegs": kegs.keg_builder,
    "log": log.log_builder,
}


def record_builder(mapping: Mapping, received_ms: int, notes: ReadNotes) -> Build:
    """The builder of one export's records; it keeps the order of times, so use it for one only."""
    plan = Plan(mapping, Moments(mapping, received_ms, notes), mapped_fields(mapping))
    return _BUILDERS[mapping.carries](plan)
