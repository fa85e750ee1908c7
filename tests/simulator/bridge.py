"""A simulated day as the matcher takes it, and how right its pairs are.

Keys: a pour's key is ``SimPour.id``. A ring unit's key is ``line.id * 4096 + unit * 8 + portion``,
where ``unit`` counts the units of a line from 0 and ``portion`` the portions of its item; a unit
put together from fractions has the key of its first line, unit 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from simulator.model import RingLine, SimPour
from simulator.month import SimMonth
from unrung.matching.types import MeteredPour, RingUnit, Serve

WHOLE = 1_000_000
TOGETHER_MS = 5 * 60_000
"""Fractions of one item rung within this time make up whole units."""
NOT_FOR_MATCHING = ("water", "gas", "cleaning")


class DayInput(NamedTuple):
    """A day of a pool, with its two neighbours."""

    pours: list[MeteredPour]
    units: list[RingUnit]
    sizes: dict[str, tuple[int, ...]]
    """Product to the portions (µL) on the menu, smallest first."""
    bounds: tuple[int, int]
    """First ms of the day and of the next."""


def to_matching(month: SimMonth, day: date, pool: str) -> DayInput:
    """Movements of the day before, the day and the day after of one pool (or outlet).

    Gas, and beer and water of logged cleanings, are left out, as the ledger does before matching;
    voided rings are there with ``voided_ms``; training and refund lines are not.
    """
    found = next(d for d in month.days if d.date == day)
    near = [d for d in month.days if abs(d.index - found.index) <= 1]
    lo, hi = near[0].start_ms, near[-1].end_ms
    pours = [
        MeteredPour(p.id, p.tap, p.product, p.start_ms, p.end_ms, p.volume_ul)
        for p in month.pours
        if lo <= p.end_ms < hi and month.place[p.outlet] == pool and not _set_aside(p)
    ]
    lines = [r for r in month.rings if lo <= r.at_ms < hi and month.place[r.outlet] == pool]
    return DayInput(pours, whole_units(lines), sizes_of(month, pool), (found.start_ms, found.end_ms))


def sizes_of(month: SimMonth, pool: str) -> dict[str, tuple[int, ...]]:
    """Product to the portions on the pool's menu, smallest first."""
    sizes: dict[str, set[int]] = {}
    for span in month.menu:
        if month.place[span.outlet] == pool:
            for product, portion_ul in span.item.portions:
                sizes.setdefault(product, set()).add(portion_ul)
    return {product: tuple(sorted(found)) for product, found in sorted(sizes.items())}


def whole_units(lines: Iterable[RingLine]) -> list[RingUnit]:
    """Ring units of sale, comp and void lines, one per unit and portion.

    Fractions of the same item of one outlet, on one check or on several, rung within five minutes,
    are put together where they sum to whole units; a fraction that stays alone is a unit of its
    share of the portion.
    """
    units: list[RingUnit] = []
    parts: dict[tuple[str, str, str, bool], list[RingLine]] = {}
    for line in sorted(lines, key=lambda r: (r.at_ms, r.id)):
        if line.kind not in ("sale", "comp", "void") or not line.portions:
            continue
        if line.units_micro % WHOLE == 0:
            units += _units(line, line.units_micro // WHOLE, WHOLE)
        else:
            key = (line.outlet, line.item, line.size, line.voided_ms is not None)
            parts.setdefault(key, []).append(line)
    for _, fractions in sorted(parts.items()):
        units += _put_together(fractions)
    units.sort(key=lambda unit: (unit.at_ms, unit.key))
    return units


def serves_of(month: SimMonth, key: int) -> frozenset[int]:
    """The serves that the unit with this key was truly rung for: like units of one line are one
    another's equals. Empty where no serve of its product answers it."""
    table = month.index.setdefault("serves", {})
    if not table:
        found: dict[int, set[int]] = {}
        for unit in month.units:
            for line, _ in unit.lines:
                if unit.serve_id is not None and not unit.why:
                    found.setdefault(line * 8 + unit.portion, set()).add(unit.serve_id)
        table.update({number: frozenset(ids) for number, ids in found.items()})
    right = table.get(key // 4096 * 8 + key % 8, frozenset())
    assert isinstance(right, frozenset)
    return right


def mates_of(month: SimMonth, key: int) -> frozenset[int]:
    """The serves of all units of the same check, product and portion rung within two minutes: a
    matcher cannot tell these apart, and need not."""
    table = month.index.setdefault("mates", {})
    if not table:
        table.update(_mates(month))
    found = table.get(key // 4096 * 8 + key % 8, frozenset())
    assert isinstance(found, frozenset)
    return found


class PairScore(NamedTuple):
    """Counts over the serves that a matcher gave back."""

    pairs: int
    right: int
    """Paired with a unit rung for it, or for a like glass of the same round."""
    wrong: int
    missed: int
    """Truly rung serves (the larger part of a given serve) left without a unit."""


def score_pairs(month: SimMonth, serves: Sequence[Serve]) -> PairScore:
    """How many pairs are right. A given serve counts as the true serve that most of its volume
    belongs to, leaks and foam as none."""
    pours = month.index.setdefault("pours", {})
    if not pours:
        pours.update({pour.id: pour for pour in month.pours})
    rung = {serve.id for serve in month.serves if serve.unit_id is not None and not serve.cause}
    pairs = right = missed = 0
    for serve in serves:
        true_ids = _likely_serves(pours, serve)
        if serve.unit_key is None:
            missed += bool(true_ids & rung)
            continue
        pairs += 1
        right += bool(true_ids & mates_of(month, serve.unit_key))
    return PairScore(pairs, right, pairs - right, missed)


def _likely_serves(pours: dict[int, object], serve: Serve) -> set[int]:
    """The true serves that a given serve may be: where a pour filled several vessels, a part of it
    is taken for those whose volume is nearest."""
    weights: dict[int, float] = {}
    for key, ul in serve.parts:
        pour = pours[key]
        assert isinstance(pour, SimPour)
        for part in pour.parts:
            if part.serve_id is not None:
                near = ul if len(pour.parts) == 1 else ul - abs(part.volume_ul - ul)
                weights[part.serve_id] = weights.get(part.serve_id, 0.0) + near
    most = max(weights.values(), default=0.0)
    return {number for number, weight in weights.items() if weight >= most - 0.1 * abs(most)}


def _mates(month: SimMonth) -> dict[int, frozenset[int]]:
    lines = {line.id: line for line in month.rings}
    groups: dict[tuple[str, str, str, int], list[tuple[int, int, int]]] = {}
    for unit in month.units:
        line = lines.get(unit.lines[0][0])
        if line and unit.serve_id is not None and not unit.why:
            key = (line.outlet, line.check.split("/")[0], unit.product, unit.portion_ul)
            groups.setdefault(key, []).append((line.at_ms, unit.serve_id, unit.id))
    by_id = {unit.id: unit for unit in month.units}
    made: dict[int, set[int]] = {}
    for group in groups.values():
        for at_ms, _, number in group:
            like = {serve for when, serve, _ in group if abs(when - at_ms) <= 120_000}
            for line_id, _ in by_id[number].lines:
                made.setdefault(line_id * 8 + by_id[number].portion, set()).update(like)
    return {key: frozenset(ids) for key, ids in made.items()}


def _set_aside(pour: SimPour) -> bool:
    return all(part.label in NOT_FOR_MATCHING for part in pour.parts)


def _units(line: RingLine, count: int, micro: int) -> list[RingUnit]:
    return [
        RingUnit(
            line.id * 4096 + unit * 8 + index, product, line.at_ms,
            round(portion_ul * micro / WHOLE), line.check, line.terminal, line.voided_ms,
        )
        for unit in range(count) for index, (product, portion_ul) in enumerate(line.portions)
    ]


def _put_together(fractions: list[RingLine]) -> list[RingUnit]:
    units: list[RingUnit] = []
    held: list[RingLine] = []
    for line in fractions:
        if held and line.at_ms - held[0].at_ms > TOGETHER_MS:
            units += _alone(held)
            held = []
        held.append(line)
        total = sum(one.units_micro for one in held)
        count = round(total / WHOLE)
        if count and abs(total - count * WHOLE) <= len(held):
            units += _units(held[0], count, WHOLE)
            held = []
    return units + _alone(held)


def _alone(held: list[RingLine]) -> list[RingUnit]:
    return [unit for line in held for unit in _units(line, 1, line.units_micro)]
