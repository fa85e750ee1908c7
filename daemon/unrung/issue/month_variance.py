"""variance-M.csv: one row per outlet (or pool) and product, then totals; the sum of variance-D.csv."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import get_args

from unrung.book_settings import Periods
from unrung.issue.cells import VOLUME_PLACES, percent, volume
from unrung.issue.glossary import figure_columns, outlet_column, product_column, unit_column
from unrung.issue.month_stock import (
    COUNTED,
    METERED,
    MIXED,
    MOVED,
    StockCells,
    place_stock,
    stock_figures,
    total_stock,
    unit_cost,
)
from unrung.issue.month_sums import REASONS, SUMMED, Sums, month_figures, total
from unrung.issue.table import Cell, Column, Row, Table, choice, count, day, number, text
from unrung.issue.variance import FIGURES
from unrung.ledger.month import MonthLedger, MonthStatus
from unrung.ledger.stock import Place
from unrung.settings import Settings
from unrung.units import UNIT_LABELS

LEVELS = ("product", "outlet", "venue")
_COUNTS = {"serves"}


def month_variance_table(
    month: MonthLedger, settings: Settings, revision: int, sums: dict[Place, Sums] | None = None
) -> Table:
    """The period by outlet and product, with the cellar's books; totals per outlet and of the venue.
    ``sums``: the period's, where they are known."""
    sums = month_figures(month, settings).sums if sums is None else sums
    stock = place_stock(month, sums, settings)
    rows: list[Row] = []
    for outlet in sorted({place[0] for place in sums}):
        mine = [place for place in sums if place[0] == outlet]
        for place in mine:
            cost = unit_cost(month.books.products.get(place[1]), settings)
            rows.append(
                _cells("product", *place, sums[place], stock[place], month, settings)
                | {"unit_cost": cost, "revision": revision}
            )
        rows.append(_total("outlet", outlet, [(sums[p], stock[p]) for p in mine], month, settings, revision))
    if rows:
        whole = [(sums[place], stock[place]) for place in sums]
        rows.append(_total("venue", "", whole, month, settings, revision))
    return _table(rows, settings)


def _total(
    level: str, outlet: str, parts: Sequence[tuple[Sums, StockCells]], month: MonthLedger,
    settings: Settings, revision: int,
) -> Row:
    sums = total(one for one, _ in parts)
    cells = _cells(level, outlet, "", sums, total_stock([one for _, one in parts]), month, settings)
    return cells | {"unit_cost": None, "revision": revision}


def _cells(
    level: str, outlet: str, product: str, sums: Sums, stock: StockCells, month: MonthLedger,
    settings: Settings,
) -> dict[str, Cell]:
    exact = sums.exact
    compared = exact.poured - exact.not_beer - exact.poured_not_compared
    days = month.days
    cells: dict[str, Cell] = {
        "period": month.period.name, "level": level, "outlet": outlet, "product": product,
        "unit": settings.venue.volume_unit,
        "first_day": (days[0].day if days else month.period.first).isoformat(),
        "last_day": (days[-1].day if days else month.period.last).isoformat(), "days": len(days),
        **{name: _figure(name, sums) for name in SUMMED},
        "variance_pct": percent(exact.variance, compared),
        **{f"logged_{reason}": volume(sums.logged[reason]) for reason in REASONS},
        **stock_figures(stock, sums, settings), "cost_method": settings.cost.method,
        **_adjusted(sums, settings), "status": month.status,
    }
    return cells | {"attention": attention(cells, settings.period)}


def attention(cells: Mapping[str, Cell], limits: Periods) -> str:
    """What in a row asks for a look, and what asks to act.

    >>> row = {"variance_pct": Decimal("-5.2"), "yield_pct": Decimal("94.99")}
    >>> attention(row, Periods()), attention(dict.fromkeys(row), Periods())
    ('act: variance; note: yield', '')
    """
    found = []
    variance, share = cells["variance_pct"], cells["yield_pct"]
    if isinstance(variance, Decimal) and abs(variance) >= limits.note_variance_pct:
        found.append("act: variance" if abs(variance) >= limits.act_variance_pct else "note: variance")
    if isinstance(share, Decimal) and share < limits.note_yield_pct:
        found.append("act: yield" if share < limits.act_yield_pct else "note: yield")
    return "; ".join(found)


def _figure(name: str, sums: Sums) -> Cell:
    value = sums.money(name)
    return int(value) if value is not None and name in _COUNTS else value


def _adjusted(sums: Sums, settings: Settings) -> dict[str, Cell]:
    """What the period carries for closed ones, and its own figures with it."""
    nothing = Decimal(0).scaleb(-VOLUME_PLACES)
    volume_ = sums.adjusted.get("variance", Decimal(0)) + nothing
    no_money = Decimal(0).scaleb(-settings.currency_digits)
    cost = sums.adjusted.get("variance_cost", Decimal(0)) + no_money
    own = sums.money("variance_cost")
    return {
        "adjustments": volume_, "variance_adjusted": sums.cells["variance"] + volume_,
        "adjustments_cost": cost, "variance_cost_adjusted": None if own is None else own + cost,
    }


def _table(rows: list[Row], settings: Settings) -> Table:
    figures = figure_columns(settings)
    columns = (
        text("period", "Accounting period.", required=True),
        choice("level", "product: one outlet and product; outlet: total of an outlet; venue: total of "
               "all. Add up one level only.", LEVELS),
        outlet_column(), product_column(), unit_column(settings),
        day("first_day", "First business day in the sums."),
        day("last_day", "Last business day in the sums."),
        count("days", "Issued business days in the sums."),
        *(figures[name] for name in FIGURES), *_own_columns(settings),
        text("attention", "What asks for a look (note) or to act, by the limits under [period]: the size of "
             "variance_pct, and yield_pct."),
        choice("status", "provisional: days are missing; incomplete: a day was issued without all of its "
               "data; final; closed: it never changes again.", get_args(MonthStatus)),
        figures["revision"],
    )
    title = "Poured against rung, stock and cost, by outlet and product"
    return Table("variance", title, columns, rows, ("level", "outlet", "product"))


def _own_columns(settings: Settings) -> list[Column]:
    label, currency = UNIT_LABELS[settings.venue.volume_unit], settings.venue.currency
    return [
        *(number(f"logged_{reason}", f"Part of logged written down as {reason}. In {label}.")
          for reason in REASONS),
        *_stock_columns(label),
        number("unit_cost", f"Cost of one {label} of used beer by cost_method, in {currency}.",
               required=False),
        choice("cost_method", "How beer is valued, over the whole venue: at the average cost of what was "
               "there and what came in, or oldest first.", ("weighted_average", "fifo")),
        *(number(name, f"Cost of {what} beer by cost_method, in {currency}.", required=False)
          for name, what in (("used_cost", "used"), ("closing_cost", "remaining"),
                             ("written_off_cost", "written-off"))),
        number("adjustments", "Variance of closed periods' days that came to light in this one. In "
               f"{label}."),
        number("variance_adjusted", f"variance + adjustments. In {label}."),
        number("adjustments_cost", f"Change of those days' variance_cost, in {currency}."),
        number("variance_cost_adjusted", f"variance_cost + adjustments_cost, in {currency}.",
               required=False),
    ]


def _stock_columns(label: str) -> list[Column]:
    said = {
        "delivered": "Beer delivered.", "transferred_in": "Beer that came from other outlets.",
        "transferred_out": "Beer that went to other outlets.", "returned": "Beer returned to suppliers.",
        "written_off": "Beer written off in the cellar.",
    }
    return [
        number("opening", "Beer in the cellar and on the lines when the period began, as counted; empty "
               f"where it was not. In {label}.", required=False),
        *(number(name, f"{said[name]} In {label}.", minimum=0) for name in MOVED),
        number("closing", f"The same when the period ended. In {label}.", required=False),
        number("used", "opening + delivered + transferred_in - transferred_out - returned - written_off - "
               "closing where both ends were counted; else beer_metered + rung_not_compared. In "
               f"{label}."),
        number("used_within", f"Greatest error of the counted use. In {label}.", required=False),
        choice("used_basis", "How used is known; a total of both is mixed.", (COUNTED, METERED, MIXED)),
        number("beer_metered", f"poured - not_beer. In {label}."),
        number("lost_before_meter", "used - beer_metered - rung_not_compared (beer of unmetered taps); "
               f"empty where use was not counted. In {label}.", required=False),
        number("yield_pct", "rung in percent of used, from exact figures; empty where use was not counted.",
               required=False),
    ]
