"""One business day's ledger from three days' materials: pairs, rests, leaves.

The ledger of day D is a function of the materials of D-1, D and D+1 and of the settings: run twice,
it is the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from unrung.ledger.changed import doubtful_sources, note_changed
from unrung.ledger.cleaning import clean
from unrung.ledger.clocks import ClockNote
from unrung.ledger.coverage import covers, length_ms
from unrung.ledger.draft import Draft, lone_pour
from unrung.ledger.gathered import day_facts
from unrung.ledger.heard import note_heard
from unrung.ledger.inputs import KegLine
from unrung.ledger.listing import list_entries, logged_rows
from unrung.ledger.material import Material
from unrung.ledger.pairs import enter_carried_out, enter_pairs
from unrung.ledger.pours import Flow
from unrung.ledger.products import product_days
from unrung.ledger.rest import Rest, Said, allowance, divide
from unrung.ledger.results import DayLedger, ServedWhileCleaned
from unrung.ledger.rings import Unit, till_rows
from unrung.ledger.said import Names, names_of
from unrung.ledger.totals import enter_totals, is_heard
from unrung.ledger.words import day_notices, urgent_notices
from unrung.matching.types import Clock
from unrung.settings import Settings

if TYPE_CHECKING:
    from unrung.matching.prepare import Prepared

def compute_day(
    before: Material | None, today: Material, after: Material | None, settings: Settings,
    sources: Mapping[int, str],
) -> DayLedger:
    """The ledger of ``today``. A neighbour is None where nothing is known of it yet: what would belong
    to it stays in this day."""
    from unrung.matching.match import match_day

    draft = Draft(today, settings, sources)
    days = [material for material in (before, today, after) if material]
    units: dict[int, Unit] = {}
    for material in days:
        units.update(material.units)
    matched = {
        outlet: match_day(
            _prepared(None if today.handed.start else before, outlet), today.prepared_for(outlet),
            _prepared(None if today.handed.end else after, outlet),
        )
        for outlet in _outlets(days)
    }
    clocks = {outlet: _clock_note(outlet, found.clock) for outlet, found in matched.items()}
    draft.totals_only = [name for name, found in matched.items() if found.serves and not found.single_pours]
    note_heard(draft, matched, clocks)
    matched = note_changed(draft, matched, units, clocks, days)
    clocks |= {outlet: ClockNote(outlet, 0, 0) for outlet in draft.hours_ahead}
    used: set[int] = set()
    for outlet, found in matched.items():
        enter_pairs(draft, outlet, found, units, used)
    enter_totals(draft)
    enter_carried_out(draft, used)
    _refunds(draft)
    names = names_of(today.menu, settings)
    said = _explain(draft, before.inputs.kegs if before else (), names)
    _poured_not_rung(draft)
    _not_beer(draft)
    return _finish(draft, said, names, list(clocks.values()))


def _refunds(draft: Draft) -> None:
    """Refunded money comes off at the time of the refund; volume is untouched."""
    for at_ms, outlet, product, money in draft.material.rings.refunds:
        draft.leaf(at_ms, outlet, product).counts.net_sales_minor += money


def _explain(draft: Draft, kegs_before: Sequence[KegLine], names: Names) -> list[Said]:
    inputs, matching = draft.material.inputs, draft.settings.matching
    most = allowance(matching, draft.settings.venue.volume_unit)
    said = divide(draft.rests, inputs.logs, inputs.kegs, kegs_before, names, matching, most)
    for entry in said:
        for rest, volume in entry.explained:
            draft.leaf(rest.end_ms, rest.outlet, rest.product).volumes.logged += volume
    return said


def _poured_not_rung(draft: Draft) -> None:
    """What is left of the rests: unexplained where it can be compared, else set apart."""
    for rest, flow, uncertain in zip(draft.rests, draft.rest_flows, draft.rest_uncertain, strict=True):
        if not rest.left_ul:
            continue
        volumes = draft.leaf(rest.end_ms, rest.outlet, rest.product).volumes
        if _compared(draft, rest, flow):
            volumes.poured_not_rung += rest.left_ul
            if rest.since_ms is None:
                draft.lone.append(lone_pour(draft, flow, rest.outlet, rest.end_ms, rest.left_ul, uncertain))
        else:
            volumes.poured_not_compared += rest.left_ul
            draft.not_compared.add(rest.place)


def _compared(draft: Draft, rest: Rest, flow: Flow) -> bool:
    """Whether the till was heard when a rest flowed; of one without a time, in all of its span, and
    none of it can be the water of a cleaning."""
    place = (rest.outlet, rest.product)
    if not draft.material.metered.get(place, False) or place in draft.renamed:
        return False
    stands = draft.material.stands.get(rest.tap, rest.outlet)
    cover = draft.outlet_cover.get(stands, draft.outlet_cover.get(rest.outlet, draft.ring_cover))
    if rest.since_ms is None:
        return covers(cover, rest.end_ms)
    since = max(rest.since_ms, draft.material.bounds[0])
    return flow.cleaning is None and is_heard(cover, since, rest.end_ms)


def _not_beer(draft: Draft) -> None:
    pours = draft.material.pours
    for flow in pours.gas:
        draft.leaf(flow.end_ms, flow.outlet, flow.product).volumes.not_beer += flow.volume_ul
    draft.cleaned = clean(pours.cleaning, draft.served)
    for done in draft.cleaned:
        volumes = draft.leaf(done.flow.end_ms, done.flow.outlet, done.flow.product).volumes
        volumes.logged += done.logged_ul
        volumes.not_beer += done.not_beer_ul


def _finish(draft: Draft, said: list[Said], names: Names, clocks: list[ClockNote]) -> DayLedger:
    today = draft.material
    list_entries(draft, said, names)
    leaves = tuple(draft.leaves[key] for key in sorted(draft.leaves))
    missing = tuple(today.inputs.missing)
    return DayLedger(
        day=today.day,
        leaves=leaves,
        products=product_days(leaves, draft.ranges, draft.lone_ul, today, draft.settings),
        lone=tuple(sorted(draft.lone, key=lambda one: (
            one.at_ms, one.kind, one.outlet, one.product, one.tap, one.volume_ul, one.source_id,
            one.source_feed, one.source_file, one.source_line))),
        logged=tuple(logged_rows(draft, said, names)),
        till=tuple(till_rows(today.rings, draft.carried_in, draft.carried_out)),
        clocks=tuple(clocks),
        status="incomplete" if missing else "final",
        missing=missing,
        notices=day_notices(draft),
        urgent=urgent_notices(draft),
        served_while_cleaned=_served(draft, clocks),
        doubtful_sources=doubtful_sources(draft),
        rings_covered_ms=length_ms(draft.ring_cover, today.bounds),
        pours_covered_ms=length_ms(draft.pour_cover["", ""], today.bounds),
        facts=day_facts(draft, said, clocks),
    )


def _served(draft: Draft, clocks: Sequence[ClockNote]) -> tuple[ServedWhileCleaned, ...]:
    by_outlet = {clock.outlet: clock for clock in clocks}
    found = []
    for seen in draft.seen:
        if seen.unit is not None and seen.unit.key in draft.served:
            clock, unit, serve = by_outlet.get(seen.outlet), seen.unit, seen.serve
            rung_ms = unit.at_ms if clock is None else clock.corrected(unit.at_ms)
            found.append(ServedWhileCleaned(
                seen.outlet, serve.product, serve.tap, serve.end_ms, rung_ms, serve.volume_ul))
    return tuple(sorted(found))


def _outlets(days: Sequence[Material]) -> list[str]:
    """Outlets and pools of three days: a ring of another day may belong to this one."""
    return sorted({outlet for material in days for outlet in material.prepared})


def _prepared(material: Material | None, outlet: str) -> Prepared | None:
    return material.prepared_for(outlet) if material else None


def _clock_note(outlet: str, clock: Clock) -> ClockNote:
    return ClockNote(
        outlet, clock.offset_ms, clock.pairs, clock.jump_at_ms, clock.jump_ms, clock.doubt_ms)
