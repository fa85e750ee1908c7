"""Till lines to ring units: voids resolved, items looked up, split checks made whole."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.inputs import RingLine
from unrung.ledger.menu import Menu, resembles
from unrung.ledger.outlets import Outlets
from unrung.ledger.results import TillRow
from unrung.ledger.shares import equal_shares
from unrung.ledger.splits import ONE, Rung, make_whole, pieces
from unrung.ledger.voids import Part, resolve_voids
from unrung.settings import MenuRow, Venue

_UNIT_BITS = 24
"""Units of one line that can be told apart: more than any line holds."""


class Unit(NamedTuple):
    """One portion of one product that was rung: the ledger's side of a ring unit."""

    key: int
    line: RingLine
    outlet: str
    """Outlet or pool."""
    product: str
    portion_ul: int
    at_ms: int
    units_micro: int
    """This portion's share of the menu unit."""
    net_minor: int
    comp: bool
    voided: bool
    voided_ms: int | None


@dataclass(slots=True)
class DayRings:
    """One business day of the till, by its own clock."""

    units: list[Unit] = field(default_factory=list)
    till: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    """Per outlet or pool: millionths of a unit by the names of ``TillRow``."""
    refunds: list[tuple[int, str, str, int]] = field(default_factory=list)
    """(time, outlet, product, net money in minor units, negative) of refunds."""
    unlisted: Counter[tuple[str, str]] = field(default_factory=Counter)
    """(item, product it resembles or "") to the number of lines."""
    alike: dict[str, str] = field(default_factory=dict)
    """Each unlisted item to the product that it resembles, or "": an export has many of one item."""
    stray: list[RingLine] = field(default_factory=list)
    """Lines that take back what no line of the day holds; left out of every figure."""


def day_rings(
    lines: Sequence[RingLine], menu: Menu, outlets: Outlets, venue: Venue, products: Sequence[str]
) -> DayRings:
    """All ring lines of one day."""
    day = DayRings()
    resolved = resolve_voids(line for line in lines if line.kind != "refund")
    rungs: list[Rung] = []
    for part in resolved.parts:
        rung = _look_up(part, menu, outlets, venue)
        till = day.till[rung.outlet]
        till["till_units"] += part.micro
        fate = _fate(rung, menu, products, day)
        till[fate] += 0 if fate == "rung" else part.micro
        till["comps"] += part.micro if fate == "rung" and part.line.kind == "comp" else 0
        if rung.portions and fate in ("rung", "voids"):
            rungs.append(rung)
    serial: Counter[int] = Counter()
    for rung in make_whole(rungs):
        day.units.extend(_units(rung, serial))
    day.units.sort(key=lambda unit: (unit.at_ms, unit.key))
    day.stray = resolved.stray
    for line in lines:
        if line.kind == "refund":
            _refund(line, day, menu, outlets, venue)
    day.refunds.sort()
    return day


def till_rows(day: DayRings, carried_in: Counter[str], carried_out: Counter[str]) -> list[TillRow]:
    """The till's own day total tied to the ledger's units, per outlet or pool."""
    rows = []
    for outlet in sorted({*day.till, *carried_in, *carried_out}):
        counts = day.till.get(outlet, Counter())
        rung = (
            counts["till_units"] - counts["voids"] - counts["training"] - counts["not_draught"]
            - counts["unknown_item"] + carried_in[outlet] - carried_out[outlet]
        )
        rows.append(
            TillRow(
                outlet, counts["till_units"], counts["voids"], counts["comps"], counts["training"],
                carried_in[outlet], carried_out[outlet], counts["not_draught"],
                counts["unknown_item"], rung,
            )
        )
    return rows


def net_minor(line: RingLine, venue: Venue) -> int:
    """The line's amount without tax, in minor units, rounded half to even."""
    amount = line.amount_minor or 0
    if venue.prices == "net":
        return amount
    if line.tax_minor is not None:
        return amount - line.tax_minor
    return round(Decimal(amount) / (1 + venue.tax_rate))


def _look_up(part: Part, menu: Menu, outlets: Outlets, venue: Venue) -> Rung:
    """The part with its portions; its money is its share of the line's."""
    line = part.line
    money = 0 if part.voided else net_minor(line, venue)
    if part.micro != line.units_micro:
        money = round(Fraction(money * part.micro, line.units_micro))
    return Rung(part, outlets.of(line.outlet), _portions(line, menu) or (), money)


def _portions(line: RingLine, menu: Menu) -> tuple[MenuRow, ...] | None:
    return menu.portions(line.item, line.size, line.price_level, line.modifier)


def _refund(line: RingLine, day: DayRings, menu: Menu, outlets: Outlets, venue: Venue) -> None:
    """A refund changes money, never volume."""
    portions = _portions(line, menu) or ()
    money = equal_shares(-abs(net_minor(line, venue)), max(1, len(portions)))
    day.refunds += [
        (line.at_ms, outlets.of(line.outlet), row.product, share)
        for row, share in zip(portions, money, strict=False)
    ]


def _fate(rung: Rung, menu: Menu, products: Sequence[str], day: DayRings) -> str:
    """Which one column of the till's reconciliation a quantity falls into."""
    line = rung.part.line
    if line.kind == "training":
        return "training"
    if rung.part.voided:
        return "voids"
    if not rung.portions and _portions(line, menu) is None:
        like = day.alike.get(line.item)
        if like is None:
            like = day.alike[line.item] = resembles(line.item, products)
        day.unlisted[line.item, like] += 1
        return "unknown_item" if like else "not_draught"
    return "rung" if rung.portions else "not_draught"


def _units(rung: Rung, serial: Counter[int]) -> list[Unit]:
    """One line's quantity as single portions, with money and units shared out exactly."""
    part, line = rung.part, rung.part.line
    comp = line.kind == "comp"
    if part.micro == ONE and len(rung.portions) == 1 and not rung.by_volume:  # as is usual: nothing to share
        row = rung.portions[0]
        key = (line.id << _UNIT_BITS) | serial[line.id]
        serial[line.id] += 1
        return [Unit._make((
            key, line, rung.outlet, row.product, row.portion_ul, line.at_ms, ONE, rung.net_minor, comp,
            part.voided, part.voided_ms,
        ))]
    vessels = pieces(rung)
    cents = equal_shares(rung.net_minor, len(vessels))
    units: list[Unit] = []
    for (micro, whole), money in zip(vessels, cents, strict=True):
        shares = equal_shares(micro, len(rung.portions))
        coins = equal_shares(money, len(rung.portions))
        for row, share, coin in zip(rung.portions, shares, coins, strict=True):
            portion = row.portion_ul if whole else round(Fraction(row.portion_ul * micro, ONE))
            key = (line.id << _UNIT_BITS) | serial[line.id]
            serial[line.id] += 1
            units.append(
                Unit(key, line, rung.outlet, row.product, portion, line.at_ms, share, coin,
                     comp, part.voided, part.voided_ms)
            )
    return units
