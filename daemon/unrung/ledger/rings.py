"""Till lines to ring units: voids resolved, items looked up, split checks made whole."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from unrung.ledger.inputs import RingLine
from unrung.ledger.menu import Menu, resembles
from unrung.ledger.results import TillRow
from unrung.ledger.shares import equal_shares
from unrung.settings import MenuRow, Venue

ONE = 1_000_000
SPLIT_SPAN_MS = 5 * 60_000
"""Parts of one drink on several checks are rung within this time (common practice, no source)."""
_UNIT_BITS = 16


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


class _Part(NamedTuple):
    """Some quantity of one line with one fate."""

    line: RingLine
    micro: int
    voided: bool
    voided_ms: int | None


def day_rings(
    lines: Sequence[RingLine], menu: Menu, groups: dict[str, str], venue: Venue,
    products: Sequence[str],
) -> DayRings:
    """All ring lines of one day; ``groups`` maps an outlet to its outlet or pool."""
    day = DayRings()
    only = next(iter(set(groups.values()))) if len(set(groups.values())) == 1 else ""
    whole: list[tuple[_Part, str, tuple[MenuRow, ...]]] = []
    for part in _resolve_voids(lines, day, menu, groups, venue):
        outlet = groups.get(part.line.outlet, part.line.outlet) or only
        till = day.till[outlet]
        till["till_units"] += part.micro
        line = part.line
        portions = menu.portions(line.item, line.size, line.price_level, line.modifier)
        fate = _fate(part, portions, line, products, day)
        if fate == "rung" or (fate == "voids" and portions):
            whole.append((part, outlet, portions or ()))
        if fate != "rung":
            till[fate] += part.micro
        elif line.kind == "comp":
            till["comps"] += part.micro
    for part, outlet, portions in _make_whole(whole):
        day.units.extend(_units(part, outlet, portions, venue))
    day.units.sort(key=lambda unit: (unit.at_ms, unit.key))
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


def _resolve_voids(
    lines: Sequence[RingLine], day: DayRings, menu: Menu, groups: dict[str, str], venue: Venue
) -> list[_Part]:
    """Positive lines in parts: what a later line took back, and what stands."""
    taken: Counter[int] = Counter()
    parts: list[_Part] = []
    standing = [line for line in lines if line.kind != "refund" and line.units_micro >= 0]
    for line in lines:
        if line.kind == "refund":
            _refund(line, day, menu, groups, venue)
        elif line.units_micro < 0:
            target = _target(line, standing, taken)
            if target is not None:
                micro = min(-line.units_micro, target.units_micro - taken[target.id])
                taken[target.id] += micro
                parts.append(_Part(target, micro, True, line.voided_ms or line.at_ms))
    for line in standing:
        rest = line.units_micro - taken[line.id]
        if rest > 0:
            parts.append(_Part(line, rest, line.kind == "void", line.voided_ms))
    return sorted(parts, key=lambda part: (part.line.at_ms, part.line.id, part.voided))


def _target(void: RingLine, lines: Sequence[RingLine], taken: Counter[int]) -> RingLine | None:
    """The line that ``void`` takes back: by its id, else the last like it on the same check."""
    for line in reversed(lines):
        if taken[line.id] >= line.units_micro:
            continue
        if void.voids_ref:
            if line.origin.ref == void.voids_ref:
                return line
        elif line.at_ms <= void.at_ms and _alike(line) == _alike(void) and line.check == void.check:
            return line
    return None


def _alike(line: RingLine) -> tuple[str, ...]:
    return (line.item, line.size, line.price_level, line.modifier, line.outlet)


def _refund(
    line: RingLine, day: DayRings, menu: Menu, groups: dict[str, str], venue: Venue
) -> None:
    """A refund changes money, never volume."""
    portions = menu.portions(line.item, line.size, line.price_level, line.modifier) or ()
    outlet = groups.get(line.outlet, line.outlet)
    money = equal_shares(-abs(net_minor(line, venue)), max(1, len(portions)))
    day.refunds += [
        (line.at_ms, outlet, row.product, share)
        for row, share in zip(portions, money, strict=False)
    ]


def _fate(
    part: _Part, portions: tuple[MenuRow, ...] | None, line: RingLine, products: Sequence[str],
    day: DayRings,
) -> str:
    """Which one column of the till's reconciliation a quantity falls into."""
    if line.kind == "training":
        return "training"
    if part.voided:
        return "voids"
    if portions is None:
        like = resembles(line.item, products)
        day.unlisted[line.item, like] += 1
        return "unknown_item" if like else "not_draught"
    return "rung" if portions else "not_draught"


_Whole = tuple[_Part, str, tuple[MenuRow, ...]]


def _make_whole(parts: Iterable[_Whole]) -> list[_Whole]:
    """Fractions of one drink on split checks become the one unit that was poured.

    Fractions of equal items in one outlet, rung within a few minutes, are joined once they add up to
    whole units; the first part stands for all. What never adds up stays a fraction.
    """
    done: list[_Whole] = []
    open_parts: dict[tuple[str, ...], list[_Whole]] = defaultdict(list)
    for entry in parts:
        part, outlet, _ = entry
        if part.micro % ONE == 0 or part.voided:
            done.append(entry)
            continue
        key = (outlet, *_alike(part.line)[:4], part.line.kind)
        fresh = [old for old in open_parts[key]
                 if part.line.at_ms - old[0].line.at_ms <= SPLIT_SPAN_MS]
        done.extend(old for old in open_parts[key] if old not in fresh)
        fresh.append(entry)
        total = sum(old[0].micro for old in fresh)
        # Thirds are written 0.33 + 0.33 + 0.34, or 0.33 three times.
        if abs(total - round(total / ONE) * ONE) <= 10_000 * len(fresh) and total >= ONE // 2:
            done.append(_joined(fresh, total))
            fresh = []
        open_parts[key] = fresh
    for left in open_parts.values():
        done.extend(left)
    return done


def _joined(parts: Sequence[_Whole], total: int) -> _Whole:
    first, outlet, portions = parts[0]
    money = [part.line.amount_minor for part, _, _ in parts]
    taxes = [part.line.tax_minor for part, _, _ in parts]
    line = first.line._replace(
        units_micro=total,
        amount_minor=sum(m for m in money if m is not None),
        tax_minor=None if None in taxes else sum(t for t in taxes if t is not None),
    )
    return first._replace(line=line, micro=total), outlet, portions


def _units(
    part: _Part, outlet: str, portions: tuple[MenuRow, ...], venue: Venue
) -> list[Unit]:
    """One line's quantity as single portions, with money and units shared out exactly."""
    line = part.line
    count = max(1, round(part.micro / ONE))
    whole = abs(part.micro - count * ONE) <= 10_000 * count
    money = 0 if part.voided else _money_of(part, net_minor(line, venue))
    units: list[Unit] = []
    micros, cents = equal_shares(part.micro, count), equal_shares(money, count)
    for nth in range(count):
        shares = equal_shares(micros[nth], len(portions))
        coins = equal_shares(cents[nth], len(portions))
        for place, row in enumerate(portions):
            portion = row.portion_ul if whole else round(row.portion_ul * micros[nth] / ONE)
            key = (line.id << _UNIT_BITS) | (len(units) << 1) | part.voided
            units.append(
                Unit(key, line, outlet, row.product, portion, line.at_ms, shares[place], coins[place],
                     line.kind == "comp", part.voided, part.voided_ms)
            )
    return units


def _money_of(part: _Part, money: int) -> int:
    """The share of a line's money that a part of its quantity carries."""
    whole = part.line.units_micro
    return money if part.micro == whole or not whole else round(money * part.micro / whole)
