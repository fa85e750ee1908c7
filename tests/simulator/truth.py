"""What was really poured, rung and lost, per business day, pool and product."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from simulator.meters import MeterErrors, date_at
from simulator.model import Part, SimPour, SimServe, TrueUnit, TruthKey, TruthRow
from simulator.rates import OZ, RATES
from simulator.serving import Bar

LOGGED = ("staff", "waste", "comp", "keg_change", "cleaning")
KEG_CHANGE = ("keg_change", "keg_change_loss")
NOT_BEER = ("water", "gas")
CAUSES = {
    "leak": "leak", "keg_change_loss": "keg_change_loss",
    "unlogged_cleaning": "unlogged_cleaning", "unlogged_water": "unlogged_cleaning",
}
"""Labels of parts that are a loss by themselves."""


@dataclass(slots=True)
class Truth:
    """Rows by (business day, pool or outlet, product by the tap list)."""

    rows: dict[TruthKey, TruthRow] = field(default_factory=dict)

    def row(self, key: TruthKey) -> TruthRow:
        return self.rows.setdefault(key, TruthRow())

    def cause_ul(self, cause: str) -> int:
        """Volume of one cause over the month: unrung, differing, or rung and not poured."""
        return sum(
            row.by_cause.get(cause, 0) + abs(row.difference.get(cause, 0))
            + (row.not_compared if cause == "feed_gap" else 0)
            for row in self.rows.values()
        )

    def poured_not_rung(self, day: date | None = None) -> int:
        """Of a day, or of the month."""
        return sum(r.poured_not_rung for k, r in self.rows.items() if day in (None, k[0]))


def allow_kegs(pours: Iterable[SimPour]) -> list[SimPour]:
    """Give each keg change its set allowance: what is beyond it is loss, what is within is not."""
    allowance = round(RATES["kegs"]["allowance_oz"] * OZ)
    left: dict[str, int] = {}
    made = []
    for pour in pours:
        if all(part.label not in KEG_CHANGE for part in pour.parts):
            made.append(pour)
            continue
        parts: list[Part] = []
        for part in pour.parts:
            if part.label == "keg_change":
                left[pour.meter] = allowance - part.volume_ul
            if part.label == "keg_change_loss":
                within = min(part.volume_ul, max(0, left.get(pour.meter, 0)))
                left[pour.meter] = left.get(pour.meter, 0) - within
                parts += [replace(part, label="keg_change", volume_ul=within)] if within else []
                part = replace(part, volume_ul=part.volume_ul - within)
            if part.volume_ul:
                parts.append(part)
        made.append(replace(pour, parts=tuple(parts)))
    return made


def measure_serves(
    bar: Bar, pours: Iterable[SimPour], units: Iterable[TrueUnit], errors: MeterErrors
) -> list[SimServe]:
    """Serves as the meters saw them; those that no meter reported are left out."""
    metered: dict[int, list[tuple[SimPour, int]]] = {}
    for pour in pours:
        for part in pour.parts:
            if part.serve_id is not None:
                metered.setdefault(part.serve_id, []).append((pour, part.volume_ul))
    rung = {unit.serve_id: unit for unit in units if unit.serve_id is not None}
    made = []
    for number, seen in sorted(metered.items()):
        serve, unit = bar.serves[number - 1], rung.get(number)
        volume = sum(ul for _, ul in seen)
        share = volume / serve.goal_ul
        extras = {cause: round(ul * share) for cause, ul in serve.extras.items()}
        factor = errors.calibration[seen[0][0].meter]
        if factor:
            extras["meter_calibration"] = round(volume * factor / (1 + factor))
        made.append(
            SimServe(
                number, serve.label, seen[0][0].outlet, seen[0][0].product, serve.true_product,
                min(pour.start_ms for pour, _ in seen), max(pour.end_ms for pour, _ in seen),
                volume, unit.portion_ul if unit else serve.set_portion_ul,
                unit.id if unit else None, serve.cause, extras,
            )
        )
    return made


def settle(
    bar: Bar, place: Mapping[str, str], pours: Iterable[SimPour], serves: Iterable[SimServe],
    units: Iterable[TrueUnit], withheld: frozenset[int],
) -> tuple[Truth, list[SimServe], list[TrueUnit]]:
    """The truth's rows, and serves and units with their final causes."""
    truth, by_unit = Truth(), {unit.id: unit for unit in units}
    answered: dict[int, str] = {}
    final = []
    for serve in serves:
        unit = by_unit.get(serve.unit_id or 0)
        cause = _cause(serve, unit, withheld)
        if unit:
            answered[unit.id] = cause
        row = truth.row((date_at(bar.days, serve.end_ms), place[serve.outlet], serve.product))
        _settle_serve(row, serve, cause, unit)
        final.append(serve if cause == serve.cause else replace(serve, cause=cause))
    for pour in pours:
        key = (date_at(bar.days, pour.end_ms), place[pour.outlet], pour.product)
        _settle_rest(truth.row(key), pour)
        row = truth.row(key)
        row.poured_true += pour.true_volume_ul
    for unit in by_unit.values():
        by_unit[unit.id] = _settle_unit(bar, truth, place, unit, answered, withheld)
    return truth, final, list(by_unit.values())


def _cause(serve: SimServe, unit: TrueUnit | None, withheld: frozenset[int]) -> str:
    """Why no ring answers a serve; empty where one does or it is written down."""
    if serve.label in LOGGED:
        return ""
    if unit is None:
        return serve.cause
    if unit.voided or unit.why:
        return unit.why
    if unit.product != serve.product:
        return "tap_list"
    if any(line in withheld for line, _ in unit.lines):
        return "feed_gap"
    return ""


def _settle_serve(row: TruthRow, serve: SimServe, cause: str, unit: TrueUnit | None) -> None:
    row.poured += serve.volume_ul
    if serve.label in LOGGED:
        row.logged += serve.volume_ul
    elif cause == "feed_gap":
        row.not_compared += serve.volume_ul
    elif cause:
        _lost(row, cause, serve.volume_ul)
        if unit and unit.voided:
            row.voided_after_pour += serve.volume_ul
    else:
        assert unit is not None, serve
        row.matched_portion += unit.portion_ul
        noise = serve.volume_ul - unit.portion_ul - sum(serve.extras.values())
        for name, ul in (*serve.extras.items(), ("noise", noise)):
            row.difference[name] = row.difference.get(name, 0) + ul


def _settle_rest(row: TruthRow, pour: SimPour) -> None:
    """The parts of a pour that filled no serve."""
    for part in pour.parts:
        if part.serve_id is not None:
            continue
        row.poured += part.volume_ul
        if part.label in LOGGED:
            row.logged += part.volume_ul
        elif part.label in NOT_BEER:
            row.not_beer += part.volume_ul
        else:
            _lost(row, CAUSES[part.label], part.volume_ul)


def _lost(row: TruthRow, cause: str, ul: int) -> None:
    row.poured_not_rung += ul
    row.by_cause[cause] = row.by_cause.get(cause, 0) + ul


def _settle_unit(
    bar: Bar, truth: Truth, place: Mapping[str, str], unit: TrueUnit, answered: Mapping[int, str],
    withheld: frozenset[int],
) -> TrueUnit:
    cause = answered.get(unit.id, unit.why or "feed_gap")
    made = unit if cause == unit.why else replace(unit, why=cause)
    hidden = any(line in withheld for line, _ in unit.lines)
    if cause and not unit.voided and not hidden and cause != "training":
        row = truth.row((date_at(bar.days, unit.at_ms), place[unit.outlet], unit.product))
        row.rung_not_poured += unit.portion_ul
        row.rung_by_cause[cause] = row.rung_by_cause.get(cause, 0) + unit.portion_ul
    return made
