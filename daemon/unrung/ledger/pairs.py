"""Serves with and without partners, and ring units without, into the ledger's leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from unrung.ledger.cleaning import served_meanwhile
from unrung.ledger.coverage import covers
from unrung.ledger.draft import Draft, Seen, lone_pour
from unrung.ledger.pours import Flow
from unrung.ledger.rest import Rest
from unrung.ledger.results import Leaf, Lone
from unrung.ledger.rings import Unit
from unrung.ledger.tuples import made
from unrung.matching.types import Matched, Serve


def enter_pairs(
    draft: Draft, outlet: str, matched: Matched, units: Mapping[int, Unit], used: set[int]
) -> None:
    """Serves with and without partners, and ring units without, into leaves and rests."""
    flows = {flow.key: flow for flow in draft.material.pours.beer}
    by_total = {(flow.outlet, flow.product) for flow in draft.material.pours.untimed}
    seen: list[tuple[object, ...]] = []
    _mark_used(draft, [units[serve.unit_key] for serve in matched.serves if serve.unit_key is not None], used)
    for serve in matched.serves:
        leaf = draft.leaf(serve.end_ms, outlet, serve.product)
        leaf.counts.serves += 1
        unit = None if serve.unit_key is None else units[serve.unit_key]
        if unit is None or unit.voided:
            seen.append((outlet, serve, unit, _lone_serve(draft, outlet, serve, unit, flows), False))
        else:
            seen.append((outlet, serve, unit, None, _pair(draft, leaf, serve, unit)))
    draft.seen.extend(made(Seen, seen))
    lone = [(units[key], at_ms) for key, at_ms in matched.lone_units]
    _mark_used(draft, [unit for unit, _ in lone], used)
    standing = [(unit, at_ms) for unit, at_ms in lone if not unit.voided]
    cleaning = () if outlet in draft.hours_ahead else draft.material.pours.cleaning
    served = served_meanwhile(standing, cleaning, draft.settings.matching)
    draft.served |= served
    for unit, at_ms in standing:
        if unit.key in served:
            _served(draft, outlet, unit, served[unit.key])
        elif (outlet, unit.product) in by_total:
            draft.waiting.append((unit, at_ms))
        else:
            lone_unit(draft, unit, at_ms, unit.portion_ul)
    for product, span in matched.pour_not_rung_range_ul.items():
        draft.ranges[outlet, product] = span


def _served(draft: Draft, outlet: str, unit: Unit, flow: Flow) -> None:
    """A ring that was filled from a line being cleaned is a pair like any other."""
    serve = Serve(flow.product, flow.tap, flow.start_ms, flow.end_ms, flow.volume_ul,
                  ((flow.key, flow.volume_ul),), unit.key, uncertain=True)
    leaf = draft.leaf(serve.end_ms, outlet, serve.product)
    leaf.counts.serves += 1
    draft.seen.append(Seen(outlet, serve, unit, None, _pair(draft, leaf, serve, unit)))


def _pair(draft: Draft, leaf: Leaf, serve: Serve, unit: Unit) -> bool:
    """Enter a pair; returns whether the serve is nearer another size of its product than the one rung."""
    volumes = leaf.volumes
    difference = serve.volume_ul - unit.portion_ul
    volumes.matched_portion += unit.portion_ul
    least, most = draft.material.menu.nearest(unit.product, unit.portion_ul)
    other = not least <= 2 * serve.volume_ul <= most
    if other:
        volumes.size_difference += difference
    elif difference > 0:
        volumes.over_portion += difference
    else:
        volumes.under_portion -= difference
    count(leaf, unit)
    return other


def count(leaf: Leaf, unit: Unit) -> None:
    """Count a ring unit with its money, once."""
    leaf.counts.units_rung_micro += unit.units_micro
    leaf.counts.net_sales_minor += unit.net_minor
    if unit.comp:
        leaf.counts.comp_units_micro += unit.units_micro
        leaf.volumes.comp_volume += unit.portion_ul


def _lone_serve(
    draft: Draft, outlet: str, serve: Serve, voided: Unit | None, flows: Mapping[int, Flow]
) -> Rest | None:
    draft.lone_ul[outlet, serve.product] += serve.volume_ul if voided is None else 0
    if voided is not None:
        # Nothing else may explain it: the till itself says it was poured and taken back.
        leaf = draft.leaf(serve.end_ms, outlet, serve.product)
        leaf.volumes.poured_not_rung += serve.volume_ul
        leaf.volumes.voided_after_pour += serve.volume_ul
        _list_serve(draft, outlet, serve, flows)
        return None
    rest = Rest(outlet, serve.tap, draft.material.meters.get(serve.tap, ""), serve.product,
                serve.end_ms, serve.volume_ul, serve.volume_ul, len(draft.rests), said=serve.said)
    draft.rests.append(rest)
    draft.rest_flows.append(flows[serve.parts[-1][0]])
    draft.rest_uncertain.append(serve.uncertain)
    return rest


def _list_serve(draft: Draft, outlet: str, serve: Serve, flows: Mapping[int, Flow]) -> None:
    flow = flows[serve.parts[-1][0]]
    draft.lone.append(lone_pour(draft, flow, outlet, serve.end_ms, serve.volume_ul, serve.uncertain))


def lone_unit(
    draft: Draft, unit: Unit, at_ms: int, volume_ul: int, *, entered: bool = False, uncertain: bool = False
) -> None:
    """Enter what of a ring unit found no beer. ``entered``: the unit was counted where the rest of it
    did. ``uncertain``: another unit may be the one without, so that it is no fact about this one."""
    place = (unit.outlet, unit.product)
    leaf = draft.leaf(at_ms, *place)
    if not entered:
        count(leaf, unit)
    spans = draft.pour_cover.get(place, draft.pour_cover["", ""])
    counted = draft.material.metered.get(place, False) and covers(spans, at_ms)
    if not uncertain:
        draft.lone_units.append((unit, at_ms, counted))
    if not counted:
        leaf.volumes.rung_not_compared += volume_ul
        return
    leaf.volumes.rung_not_poured += volume_ul
    origin = unit.line.origin
    draft.lone.append(
        Lone("ring", *place, "", at_ms, volume_ul, uncertain, origin.feed, draft.name_of(origin),
             origin.line, origin.ref)
    )


def _mark_used(draft: Draft, units: Sequence[Unit], used: set[int]) -> None:
    used.update([unit.key for unit in units])
    lo, hi = draft.material.bounds
    for unit in units:
        if not lo <= unit.at_ms < hi and not unit.voided:
            draft.carried_in[unit.outlet] += unit.units_micro


def enter_carried_out(draft: Draft, used: set[int]) -> None:
    for unit in draft.material.rings.units:
        if not unit.voided and unit.key not in used:
            draft.carried_out[unit.outlet] += unit.units_micro
