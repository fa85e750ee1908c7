"""A simulated day as the matcher takes it.

Keys: a pour's key is ``SimPour.id``. A ring unit's key is ``line.id * 4096 + unit * 8 + portion``,
where ``unit`` counts the units of a line from 0 and ``portion`` the portions of its item; a unit
put together from fractions has the key of its first line, unit 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from simulator.model import RingLine, SimPour
from simulator.month import SimMonth
from unrung.matching.types import MeteredPour, RingUnit

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
        if lo <= p.end_ms < hi and month.place[p.outlet] == pool and not set_aside(p)
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


def set_aside(pour: SimPour) -> bool:
    """Whether a pour is nothing but gas, or belongs to a logged cleaning."""
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
