"""Till lines to ring units: voids resolved, items looked up, split checks made whole."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from operator import attrgetter
from typing import NamedTuple

from unrung.ledger.inputs import RingLine
from unrung.ledger.menu import Menu, resembles
from unrung.ledger.outlets import Outlets
from unrung.ledger.results import TillRow
from unrung.ledger.shares import equal_shares
from unrung.ledger.splits import ONE, Rung, make_whole, pieces
from unrung.ledger.tuples import made
from unrung.ledger.voids import Part, resolve_voids
from unrung.settings import MenuRow, Venue

_asked = attrgetter("outlet", "item", "size", "price_level", "modifier", "kind")
"""What a line is looked up by."""
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
class _Sold:
    """What is to be known of lines that are alike in all but time, quantity and money."""

    outlet: str
    portions: tuple[MenuRow, ...] | None
    alone: MenuRow | None
    """The portion where a unit is one alone."""
    fate: str
    """The one column of the till's reconciliation that they fall into."""
    comp: bool
    item: str
    lines: int = 0
    micro: int = 0
    """Millionths of a unit, of all of them."""

    @property
    def counts(self) -> bool:
        """Whether its units may have been poured."""
        return self.fate == "rung" or (self.fate == "voids" and bool(self.portions))


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
    resolved = resolve_voids([line for line in lines if line.kind != "refund"])
    rungs: list[Rung] = []
    units: list[tuple[object, ...]] = []
    known: dict[tuple[object, bool], _Sold] = {}
    for part in resolved.parts:
        line, micro, voided, voided_ms = part
        asked = _asked(line), voided
        sold = known.get(asked)
        if sold is None:
            sold = known[asked] = _look_up(part, menu, outlets, day, products)
        sold.lines += 1
        sold.micro += micro
        row = sold.alone
        if row is not None and micro == ONE == line.units_micro:  # as is usual: there is nothing to share
            units.append((
                line.id << _UNIT_BITS, line, sold.outlet, row.product, row.portion_ul, line.at_ms, ONE,
                0 if voided else net_minor(line, venue), sold.comp, voided, voided_ms,
            ))
        elif sold.counts:
            rungs.append(Rung(part, sold.outlet, sold.portions or (), _money(part, venue)))
    day.units.extend(made(Unit, units))
    _add_up(known.values(), day)
    serial: Counter[int] = Counter()
    for rung in make_whole(rungs):
        day.units.extend(_units(rung, serial))
    day.units.sort(key=attrgetter("at_ms", "key"))
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


def _look_up(
    part: Part, menu: Menu, outlets: Outlets, day: DayRings, products: Sequence[str]
) -> _Sold:
    line = part.line
    portions = _portions(line, menu)
    fate = _fate(part, portions, products, day)
    sold = _Sold(outlets.of(line.outlet), portions, None, fate, line.kind == "comp", line.item)
    if sold.counts and portions and len(portions) == 1 and portions[0].sold_by == "unit":
        sold.alone = portions[0]
    return sold


def _money(part: Part, venue: Venue) -> int:
    """The part's share of its line's money."""
    money = 0 if part.voided else net_minor(part.line, venue)
    if part.micro == part.line.units_micro:
        return money
    return round(Fraction(money * part.micro, part.line.units_micro))


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


def _fate(
    part: Part, portions: tuple[MenuRow, ...] | None, products: Sequence[str], day: DayRings
) -> str:
    """Which one column of the till's reconciliation a quantity falls into."""
    if part.line.kind == "training":
        return "training"
    if part.voided:
        return "voids"
    if portions is None:
        item = part.line.item
        if item not in day.alike:
            day.alike[item] = resembles(item, products)
        return "unknown_item" if day.alike[item] else "not_draught"
    return "rung" if portions else "not_draught"


def _add_up(sold: Iterable[_Sold], day: DayRings) -> None:
    """What was sold, by the columns of the till's reconciliation."""
    for one in sold:
        till = day.till[one.outlet]
        till["till_units"] += one.micro
        till[one.fate] += 0 if one.fate == "rung" else one.micro
        till["comps"] += one.micro if one.fate == "rung" and one.comp else 0
        if one.portions is None and one.fate in ("unknown_item", "not_draught"):
            day.unlisted[one.item, day.alike[one.item]] += one.lines


def _units(rung: Rung, serial: Counter[int]) -> list[Unit]:
    """One line's quantity as single portions, with money and units shared out exactly."""
    part, line = rung.part, rung.part.line
    comp = line.kind == "comp"
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
