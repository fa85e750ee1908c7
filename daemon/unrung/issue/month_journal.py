"""journal-M.csv: the period at cost, ready to post. Debits equal credits in every outlet.

    debit  usage      cost of used beer, less what follows
    debit  variance   cost of beer poured and not rung (credit, where more was rung than poured)
    debit  write_off  cost of beer written off in the cellar
    credit stock      cost of all of it

Retail value is potential revenue and is never posted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from unrung.issue.cells import money
from unrung.issue.foot import foot
from unrung.issue.glossary import outlet_column
from unrung.issue.month_stock import StockCells, place_stock
from unrung.issue.month_sums import Sums
from unrung.issue.table import Cell, Row, Table, day, number, text
from unrung.ledger.month import MonthLedger
from unrung.ledger.stock import Place
from unrung.settings import Settings

NEEDED = ("variance", "stock", "usage")


@dataclass(frozen=True, slots=True)
class Journal:
    """The table, or why there is none; and what a person should know of it, as sentences."""

    table: Table | None
    notes: tuple[str, ...] = ()
    wanted: bool = True
    """False where the venue names no account at all, and so wants no journal."""


class Line(NamedTuple):
    """One side of an entry; ``minor`` above 0 is a debit, below 0 a credit."""

    outlet: str
    account: str
    minor: int
    description: str
    reference: str
    reverses: str = ""


def month_journal(
    month: MonthLedger, settings: Settings, revision: int, sums: dict[Place, Sums]
) -> Journal:
    """The period's journal, once all its days are issued. A missing account code leaves it out, and
    nothing else."""
    if month.status == "provisional":
        return Journal(None, wanted=False)
    codes = {name: getattr(settings.accounts, name) for name in NEEDED}
    missing = [name for name, code in codes.items() if not code]
    if missing:
        lacks = " and ".join(missing)
        return Journal(None, (
            f"journal-{month.period.name}.csv is not written: [accounts] in venue.toml lacks {lacks}.",
        ), len(missing) < len(NEEDED))
    stock = place_stock(month, sums, settings)
    own, notes = _own(month, sums, stock, settings, revision)
    lines = [*own, *_transfers(month, settings, revision), *_corrections(month, settings, revision)]
    return Journal(_table([line for line in lines if line.minor], month, settings), tuple(notes))


def _own(
    month: MonthLedger, sums: Mapping[Place, Sums], stock: Mapping[Place, StockCells],
    settings: Settings, revision: int,
) -> tuple[list[Line], list[str]]:
    """The period's own days, outlet by outlet."""
    totals: dict[str, Counter[str]] = {}
    notes = []
    for place, cells in stock.items():
        if cells.used_minor is None:
            notes.append(f"{place[1]} at {place[0]} is not in the journal: no cost of it is known.")
            continue
        outlet = totals.setdefault(place[0], Counter())
        outlet["used"] += cells.used_minor
        outlet["written_off"] += cells.written_off_minor or 0
        outlet["variance"] += _variance_minor(month, place, sums[place], settings)
    reference, before = _references(month, revision)
    lines = []
    for outlet_name, total in sorted(totals.items()):
        lines += _entry(outlet_name, total, month.period.name, reference, before, settings)
    return lines, notes


def _variance_minor(month: MonthLedger, place: Place, sums: Sums, settings: Settings) -> int:
    """The days' own cost of variance; at the unit cost of used beer where a day had none."""
    cost = sums.money("variance_cost")
    if cost is not None:
        return int(cost.scaleb(settings.currency_digits))
    valued = month.books.products.get(place[1])
    return round(sums.exact.variance * valued.minor_per_ul) if valued else 0


def _entry(
    outlet: str, total: Mapping[str, int], period: str, reference: str, before: str, settings: Settings
) -> list[Line]:
    accounts = settings.accounts
    used, variance, written = total["used"], total["variance"], total["written_off"]
    amounts = [
        (accounts.usage, used - variance, f"Draught beer used in {period}, without variance"),
        (accounts.variance, variance, f"Draught beer poured and not rung in {period}"),
        (accounts.write_off or accounts.usage, written, f"Draught beer written off in {period}"),
        (accounts.stock, -used - written, f"Draught beer taken from stock in {period}"),
    ]
    return [Line(outlet, code, minor, said, reference, before) for code, minor, said in amounts]


def _transfers(month: MonthLedger, settings: Settings, revision: int) -> list[Line]:
    """Beer moved between outlets, cleared through an account of its own where there is one."""
    clearing = settings.accounts.transfers
    if not clearing:
        return []
    reference, before = _references(month, revision)
    net: Counter[str] = Counter()
    for product, valued in month.books.products.items():
        rows = [row for row in month.stock if row.product == product]
        moved = [row.transferred_in_ul - row.transferred_out_ul for row in rows]
        if valued is not None and any(moved):
            shares = foot([one * valued.minor_per_ul for one in moved], 0, _whole(moved, valued.minor_per_ul))
            net.update({row.outlet: 0 for row in rows})
            for row, share in zip(rows, shares, strict=True):
                net[row.outlet] += int(share)
    said = f"Draught beer moved between outlets in {month.period.name}"
    return [
        line for outlet, minor in sorted(net.items())
        for line in (Line(outlet, settings.accounts.stock, minor, said, reference, before),
                     Line(outlet, clearing, -minor, said, reference, before))
    ]


def _whole(moved: Iterable[int], unit: Fraction) -> Decimal:
    """What comes in comes from another outlet, so the moves of a product sum to nothing."""
    return Decimal(round(sum(moved) * unit))


def _corrections(month: MonthLedger, settings: Settings, revision: int) -> list[Line]:
    """What came to light of closed periods, in an entry of its own per period and outlet."""
    accounts = settings.accounts
    moved: dict[tuple[str, str], Counter[str]] = {}
    for one in month.adjustments:
        if one.figure in ("variance_cost", "used_cost", "written_off_cost"):
            difference = (Decimal(one.new) - Decimal(one.old)).scaleb(settings.currency_digits)
            moved.setdefault((one.origin_period, one.outlet), Counter())[one.figure] += int(difference)
    lines = []
    for (origin, outlet), total in sorted(moved.items()):
        variance, used, written = (
            total["variance_cost"], total["used_cost"], total["written_off_cost"])
        reference = f"{_references(month, revision)[0]} for {origin}"
        corrected = f"{origin}-r{month.closed_revisions.get(origin, 0)}"
        said = f"Correction of {origin}, see adjustments-{month.period.name}.csv"
        lines += [
            Line(outlet, code, minor, said, reference, corrected) for code, minor in (
                (accounts.usage, used - variance), (accounts.variance, variance),
                (accounts.write_off or accounts.usage, written), (accounts.stock, -used - written))
        ]
    return lines


def _references(month: MonthLedger, revision: int) -> tuple[str, str]:
    """This revision's reference, and that of the one whose place it takes."""
    name = month.period.name
    return f"{name}-r{revision}", f"{name}-r{revision - 1}" if revision > 1 else ""


def _table(lines: Iterable[Line], month: MonthLedger, settings: Settings) -> Table:
    rows = [_cells(line, month, settings) for line in lines]
    currency = settings.venue.currency
    columns = (
        day("journal_date", "Last business day of the period."),
        text("period", "Accounting period that is posted to.", required=True),
        outlet_column(), text("account", "Code out of [accounts] in venue.toml.", required=True),
        text("description", "What the line is for.", required=True),
        number("debit", f"In {currency}, at cost.", required=False, minimum=0),
        number("credit", f"In {currency}, at cost.", required=False, minimum=0),
        text("currency", "ISO 4217 code.", required=True),
        text("reference", "Of the entry: period and revision. Post one revision of a period only.",
             required=True),
        text("reverses", "Reference of an earlier entry: of the revision that this one takes the place of "
             "(take that one back if it was posted), or of the closed period that this line corrects."),
    )
    return Table("journal", "Draught beer at cost, to be posted", columns, rows)


def _cells(line: Line, month: MonthLedger, settings: Settings) -> Row:
    amount = money(abs(line.minor), settings.currency_digits)
    cells: dict[str, Cell] = {
        "journal_date": month.period.last.isoformat(), "period": month.period.name,
        "outlet": line.outlet, "account": line.account, "description": line.description,
        "debit": amount if line.minor > 0 else None, "credit": amount if line.minor < 0 else None,
        "currency": settings.venue.currency, "reference": line.reference, "reverses": line.reverses,
    }
    return cells
