"""One business day's movements made ready for matching: a function of that day alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from operator import attrgetter
from typing import TYPE_CHECKING

from unrung.ledger.coverage import Span, union
from unrung.ledger.hour_shift import Rung, rung_of
from unrung.ledger.inputs import DayInputs
from unrung.ledger.menu import Menu
from unrung.ledger.outlets import Outlets
from unrung.ledger.pours import DayPours, day_pours
from unrung.ledger.rerung import rerung
from unrung.ledger.rest import is_cleaning_span
from unrung.ledger.rings import DayRings, Unit, day_rings
from unrung.ledger.said import names_of, sayings
from unrung.ledger.sealed import NOTHING, Handed
from unrung.ledger.taps import TapList
from unrung.ledger.tuples import made
from unrung.matching.types import Entry, KegOn, MatchSettings, MeteredPour, RingUnit
from unrung.settings import Matching, Settings

if TYPE_CHECKING:
    from unrung.matching.prepare import DayRows, Prepared


@dataclass(slots=True)
class Material:
    """What ``ledger.day`` needs of one day."""

    day: date
    bounds: Span
    inputs: DayInputs
    menu: Menu
    rings: DayRings
    pours: DayPours
    options: MatchSettings
    prepared: dict[str, Prepared] = field(default_factory=dict)
    """Outlet or pool to what matching made of it."""
    metered: dict[tuple[str, str], bool] = field(default_factory=dict)
    """(outlet, product) that some tap serves: True where every tap of it is metered."""
    meters: dict[str, str] = field(default_factory=dict)
    """Tap to meter name."""
    stands: dict[str, str] = field(default_factory=dict)
    """Tap to the outlet that it stands in, where the ledger keeps a pool of several."""
    blind: dict[tuple[str, str], list[Span]] = field(default_factory=dict)
    """(outlet, product) to the spans in which a meter of it cannot tell what flowed."""
    handed: Handed = NOTHING
    """What crosses the sealed edges of the day."""
    sources: frozenset[int] = frozenset()
    """Exports that its lines came from."""
    units: dict[int, Unit] = field(default_factory=dict)
    """Ring units by key."""
    rung: dict[str, Rung] = field(default_factory=dict)
    """The same by outlet or pool, but for voided ones."""

    def prepared_for(self, outlet: str) -> Prepared:
        """What matching made of an outlet; of one that the day does not know, an empty day."""
        from unrung.matching.prepare import prepare

        return self.prepared.get(outlet) or prepare([], [], {}, self.bounds, self.options)


def make_material(inputs: DayInputs, settings: Settings, handed: Handed = NOTHING) -> Material:
    """Everything that one day's movements give by themselves, and what it was ``handed``."""
    return make_materials([(inputs, handed)], settings)[0]


def make_materials(days: Sequence[tuple[DayInputs, Handed]], settings: Settings) -> list[Material]:
    """Like ``make_material`` for each of several days: matching makes them ready together, which is faster,
    and the same."""
    from unrung.matching.prepare import prepare_days  # numpy and scipy load at first use

    materials, rows = [], []
    for inputs, handed in days:
        material, each = _with_rows(inputs, settings, handed)
        materials.append(material)
        rows.append(each)
    options = match_settings(settings.matching)
    prepared = iter(prepare_days([one for each in rows for one in each.values()], options))
    for material, each in zip(materials, rows, strict=True):
        material.prepared.update((outlet, next(prepared)) for outlet in each)
    return materials


def _with_rows(
    inputs: DayInputs, settings: Settings, handed: Handed
) -> tuple[Material, dict[str, DayRows]]:
    """A day's material without what matching makes of it, and what matching needs, by outlet."""
    from unrung.matching.prepare import DayRows

    outlets = Outlets(settings)
    menu = Menu(settings.menu, inputs.day)
    taps = TapList(settings.taps, settings.venue)
    rings = _rings(inputs, settings, menu, outlets)
    logs = [*inputs.cleaning, *inputs.logs]
    pours = day_pours(inputs.pours, logs, inputs.kegs, taps, outlets, settings.matching)
    options = match_settings(settings.matching)
    material = Material(inputs.day, inputs.bounds, inputs, menu, rings, pours, options, handed=handed)
    material.units = {unit.key: unit for unit in rings.units}
    material.rung = rung_of(rings.units)
    material.sources = frozenset(
        [line.origin.source for lines in (inputs.rings, inputs.pours, inputs.logs) for line in lines])
    _note_taps(material, taps, outlets)
    _note_blind(material, taps, outlets)
    sizes, said = menu.sizes(), _written_down(inputs, menu, settings)
    kegs, again = _kegs_on(inputs, pours), rerung(rings.units)
    names = {flow.outlet for flow in pours.beer} | {unit.outlet for unit in rings.units}
    rows: dict[str, DayRows] = {}
    for outlet in sorted(names | outlets.names):
        beer = list(made(MeteredPour, map(_METERED, [f for f in pours.beer if f.outlet == outlet])))
        units = [
            RingUnit._make((
                u.key, u.product, again.first_ms.get(u.key, u.at_ms), u.portion_ul, u.line.check,
                u.line.terminal, _voided_ms(u) if u.voided else None,
            ))
            for u in (*rings.units, *handed.taken_in)
            if u.outlet == outlet and u.key not in handed.given_away and u.key not in again.replaced
        ]
        rows[outlet] = DayRows(beer, units, sizes, inputs.bounds, said.get(outlet, ()), kegs)
    return material, rows


_METERED = attrgetter("key", "tap", "product", "start_ms", "end_ms", "volume_ul")
"""The fields of a ``MeteredPour`` out of a ``Flow``."""


def _kegs_on(inputs: DayInputs, pours: DayPours) -> list[KegOn]:
    """Kegs that went on, by every tap that they can stand behind."""
    went_on = [keg for keg in inputs.kegs if keg.kind == "on"]
    if not went_on:
        return []
    taps = {(flow.tap, flow.product, flow.line.tap.casefold()) for flow in pours.beer}
    return sorted(
        KegOn(tap, keg.at_ms) for keg in went_on for tap, product, name in taps
        if (keg.tap.casefold() in (tap.casefold(), name) if keg.tap
            else keg.product.casefold() == product.casefold())
    )


def _voided_ms(unit: Unit) -> int:
    return FOREVER_MS if unit.voided_ms is None else unit.voided_ms


def _written_down(inputs: DayInputs, menu: Menu, settings: Settings) -> dict[str, list[Entry]]:
    """Per outlet, the log entries that name a time, an outlet and a product, vessel by vessel."""
    names = names_of(menu, settings)
    found: dict[str, list[Entry]] = defaultdict(list)
    for log in inputs.logs:
        outlet = names.outlets.of(log.outlet)
        if log.at_ms is None or not outlet or is_cleaning_span(log):
            continue
        vessels = max(1, log.units_micro // 1_000_000) if log.volume_ul is None else 1
        for saying in sayings(log, names):
            if saying.product:
                found[outlet] += [Entry(saying.product, log.at_ms, saying.volume_ul // vessels)] * vessels
    return dict(found)


def rings_of(inputs: DayInputs, settings: Settings) -> DayRings:
    """One day's till lines as ring units."""
    return _rings(inputs, settings, Menu(settings.menu, inputs.day), Outlets(settings))


def _rings(inputs: DayInputs, settings: Settings, menu: Menu, outlets: Outlets) -> DayRings:
    products = [row.product for row in settings.products]
    return day_rings(inputs.rings, menu, outlets, settings.venue, products)


FOREVER_MS = 1 << 52
"""Void time of a voided ring whose till does not say when: it may still have been poured."""


def groups_of(settings: Settings) -> dict[str, str]:
    """Outlet to itself, or to the pool it belongs to."""
    groups = {row.outlet: row.outlet for row in settings.taps}
    for pool in settings.pool:
        groups.update({outlet: pool.name for outlet in pool.outlets})
    return groups


def match_settings(matching: Matching) -> MatchSettings:
    """The ``[matching]`` table in milliseconds."""
    pinned = matching.clock_offset_seconds
    return MatchSettings(
        window_before_ms=round(matching.window_before_minutes * 60_000),
        window_after_ms=round(matching.window_after_minutes * 60_000),
        clock_offset_ms=None if pinned is None else round(pinned * 1000),
        top_up_gap_ms=round(matching.top_up_seconds * 1000),
        entry_before_ms=round(matching.log_before_minutes * 60_000),
        entry_after_ms=round(matching.log_after_minutes * 60_000),
    )


def _note_taps(material: Material, taps: TapList, outlets: Outlets) -> None:
    blind = {name.strip().casefold() for name in material.pours.shared}
    for row in taps.on_day(material.day, *material.bounds):
        place = (outlets.of(row.outlet), row.product)
        metered = row.metered and row.meter.casefold() not in blind
        material.metered[place] = material.metered.get(place, True) and metered
        material.meters[row.tap] = row.meter
        if place[0] != row.outlet:
            material.stands[row.tap] = row.outlet


def _note_blind(material: Material, taps: TapList, outlets: Outlets) -> None:
    for meter, start_ms, end_ms, _ in material.inputs.blind:
        # A tap may change its product within the span.
        rows = [row for row in (taps.at(meter, start_ms), taps.at(meter, end_ms - 1)) if row]
        for place in {(outlets.of(row.outlet), row.product) for row in rows}:
            material.blind[place] = union([*material.blind.get(place, ()), (start_ms, end_ms)])
