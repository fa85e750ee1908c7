"""variance-M.xlsx: the period's tables as a workbook to read and to print.

Numbers and dates are real ones, text is text whatever it starts with, and made twice it is the same
to the byte: nothing in it tells when it was made.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple
from zipfile import ZipFile

from unrung.issue.month_terms import terms_of
from unrung.issue.table import Cell, Column, Row, Table
from unrung.issue.variance import rows_table
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings
from unrung.units import UNIT_LABELS

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

PLAIN = {
    "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    "in_memory": True,
}
POSIX = 3
"""In a ZIP archive (APPNOTE 4.4.2)."""
FULL = "All figures"
"""The sheet that has every column of variance-M.csv, by its name there."""
IN_THE_TITLE = {"period", "unit"}
SHOWN = (
    "outlet", "product", "poured", "rung", "logged", "poured_not_rung", "rung_not_poured",
    "portion_difference", "variance", "variance_pct", "opening", "delivered", "closing", "used",
    "lost_before_meter", "yield_pct", "variance_cost", "used_cost", "attention",
)
"""What fits on a page."""
VOLUME, COUNT, DAY, MOMENT, UNIT_COST = (
    "#,##0.000", "#,##0", "yyyy-mm-dd", "yyyy-mm-dd hh:mm", "0.000000",
)
_MONEY_NAMES = (
    "net_sales", "variance_cost", "variance_retail", "used_cost", "closing_cost", "written_off_cost",
    "adjustments_cost", "variance_cost_adjusted", "debit", "credit",
)


class Sheet(NamedTuple):
    """One worksheet to be."""

    name: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    fixed: int
    """Columns that stay in sight."""


def workbook_bytes(
    month: MonthLedger, days: list[Row], variance: Table, kegs: Table, adjustments: Table,
    journal: Table | None, settings: Settings, notes: Sequence[str],
) -> bytes:
    """The workbook of one period, from the tables that its CSV files are made of; ``days``: the rows of
    its days' variance files."""
    from xlsxwriter import Workbook

    out = io.BytesIO()
    book = Workbook(out, PLAIN)
    book.set_properties({
        "title": f"{settings.venue.name}: draught beer in {month.period.name}",
        "created": datetime.combine(month.period.last, time()),
    })
    styles = _Styles(book, settings.currency_digits)
    shown = [column for name in SHOWN for column in variance.columns if column.name == name]
    sheets = [
        Sheet("Products", variance.title, shown, [_labelled(row) for row in variance.rows], 2),
        Sheet(FULL, variance.title, variance.columns, variance.rows, 4),
        _days(month, days, settings), _sheet("Kegs", kegs, 2), _sheet("Adjustments", adjustments, 2),
    ]
    if journal is not None:
        sheets.append(_sheet("Journal", journal, 2))
    for sheet in sheets:
        _write(book, sheet, styles, month, settings)
    _chart(book, shown, variance.rows, settings)
    _terms(book, styles, month, [variance, kegs, adjustments], settings, notes)
    book.close()
    return as_anywhere(out.getvalue())


def as_anywhere(content: bytes) -> bytes:
    """A ZIP archive as it is made on POSIX: one made on Windows says so beside each of its files, and the
    same month would have other bytes there."""
    with ZipFile(io.BytesIO(content)) as made:
        if all(one.create_system == POSIX for one in made.infolist()):
            return content
        out = io.BytesIO()
        with ZipFile(out, "w") as other:
            for one in made.infolist():
                one.create_system = POSIX
                other.writestr(one, made.read(one))
    return out.getvalue()


class _Styles:
    """Formats of cells, each made once: plain, and strong for totals."""

    def __init__(self, book: Workbook, digits: int) -> None:
        self._book = book
        self.money = "#,##0" + ("." + "0" * digits if digits else "")
        self._made: dict[tuple[str, bool], Any] = {}
        self.title = book.add_format({"bold": True, "font_size": 13})
        head = {"bold": True, "valign": "top", "bottom": 1, "bg_color": "#E8EEF2"}
        self.heading = book.add_format(head)
        self.head = book.add_format(head | {"text_wrap": True})
        self.right = book.add_format(head | {"text_wrap": True, "align": "right"})
        self.text = book.add_format({"text_wrap": True, "valign": "top"})

    def of(self, number_format: str, strong: bool) -> Any:
        key = (number_format, strong)
        if key not in self._made:
            style: dict[str, Any] = {"num_format": number_format} if number_format else {}
            if strong:
                style |= {"bold": True, "top": 1}
            self._made[key] = self._book.add_format(style)
        return self._made[key]


def _days(month: MonthLedger, rows: list[Row], settings: Settings) -> Sheet:
    columns = rows_table(rows, settings).columns if month.days else ()
    return _sheet("Days", Table("days", "Each issued day, by outlet and product", columns, rows), 3)


def _sheet(name: str, table: Table, fixed: int) -> Sheet:
    """A table to be read by people: what its title says is in no column."""
    columns = [column for column in table.columns if column.name not in IN_THE_TITLE or name == "Adjustments"]
    return Sheet(name, table.title, columns, table.rows, fixed)


def _labelled(row: Row) -> Row:
    """Totals that say so."""
    label = {"outlet": {"product": "all products"}, "venue": {"outlet": "All outlets"}}
    return {**row, **label.get(str(row["level"]), {})}


ONE_PAGE = 32
"""More columns than these are not squeezed onto the width of one page."""
HEAD_ROW = 2
"""Row (from 0) of the column names; the title stands above."""


def _write(
    book: Workbook, sheet: Sheet, styles: _Styles, month: MonthLedger, settings: Settings
) -> None:
    page = book.add_worksheet(sheet.name)
    _set_up(page, sheet, month, settings)
    page.write_string(0, 0, f"{settings.venue.name}, {month.period.name}: {sheet.title}", styles.title)
    unit = UNIT_LABELS[settings.venue.volume_unit]
    page.write_string(1, 0, f"Volumes in {unit}, money in {settings.venue.currency}, times local.")
    page.set_row(HEAD_ROW, 45)
    for place, column in enumerate(sheet.columns):
        name = column.name if sheet.name == FULL else column.name.replace("_", " ")
        page.write_string(HEAD_ROW, place, name, styles.right if _is_number(column) else styles.head)
        page.set_column(place, place, _width(name, column, sheet.rows))
    for line, row in enumerate(sheet.rows, HEAD_ROW + 1):
        strong = row.get("level", "product") != "product"
        for place, column in enumerate(sheet.columns):
            _cell(page, line, place, column, row[column.name], styles, strong)
    if sheet.rows:
        page.autofilter(HEAD_ROW, 0, HEAD_ROW + len(sheet.rows), len(sheet.columns) - 1)


def _set_up(page: Worksheet, sheet: Sheet, month: MonthLedger, settings: Settings) -> None:
    page.freeze_panes(HEAD_ROW + 1, sheet.fixed)
    page.set_landscape()
    page.set_paper(1 if settings.venue.locale.endswith(("_US", "_CA")) else 9)
    if len(sheet.columns) <= ONE_PAGE:
        page.fit_to_pages(1, 0)
    else:
        page.set_print_scale(60)
        page.print_across()
        page.repeat_columns(0, sheet.fixed - 1)
    page.repeat_rows(HEAD_ROW)
    page.set_margins(left=0.4, right=0.4, top=0.6, bottom=0.6)
    name = settings.venue.name.replace("&", "&&")
    page.set_footer(f"&L{name}, {month.period.name} ({month.status})&C&A&RPage &P of &N")


def _cell(
    page: Worksheet, line: int, place: int, column: Column, value: Cell, styles: _Styles, strong: bool
) -> None:
    if value is None or value == "":
        page.write_blank(line, place, None, styles.of("", strong))
    elif isinstance(value, str) and column.type == "date":
        page.write_datetime(line, place, _midnight(value), styles.of(DAY, strong))
    elif isinstance(value, str) and column.type == "datetime":
        page.write_datetime(line, place, _wall_time(value), styles.of(MOMENT, strong))
    elif isinstance(value, str):
        page.write_string(line, place, _clean(value), styles.of("@", strong))
    elif isinstance(value, bool):
        page.write_boolean(line, place, value, styles.of("", strong))
    else:
        page.write_number(line, place, value, styles.of(_format(column.name, value, styles), strong))


def _format(name: str, value: int | Decimal, styles: _Styles) -> str:
    if name in _MONEY_NAMES:
        return styles.money
    if name == "unit_cost":
        return UNIT_COST
    if name.endswith("_pct"):
        return "0.00"
    return COUNT if isinstance(value, int) else VOLUME


def _is_number(column: Column) -> bool:
    return column.type in ("number", "integer")


def _midnight(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _wall_time(text: str) -> datetime:
    """Local time as the clock on the wall showed it: a workbook knows no offsets."""
    return datetime.fromisoformat(text).replace(tzinfo=None)


def _clean(text: str) -> str:
    """A lone surrogate, which JSON can smuggle in, must not keep the month from being issued."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _width(name: str, column: Column, rows: Sequence[Row]) -> float:
    """Wide enough for the longest cell and the longest word of the heading, within reason."""
    word = max(map(len, name.split()))
    longest = max((len(str(row[column.name])) for row in rows if row[column.name] is not None), default=0)
    if column.type == "datetime":
        longest = len(MOMENT)
    return min(60.0, max(8.0, word * 1.15 + 1, longest * 1.05 + 1))


def _chart(book: Workbook, columns: Sequence[Column], rows: Sequence[Row], settings: Settings) -> None:
    """Variance by product, below the products."""
    lines = [HEAD_ROW + 1 + n for n, row in enumerate(rows) if row["level"] == "product"]
    if not lines:
        return
    names = [column.name for column in columns]
    chart = book.add_chart({"type": "bar"})
    label = f"Variance, {UNIT_LABELS[settings.venue.volume_unit]}"
    chart.add_series({
        "name": label, "categories": _areas(lines, names.index("outlet"), names.index("product")),
        "values": _areas(lines, names.index("variance"), names.index("variance")),
        "fill": {"color": "#4F7A9A"}, "gap": 40,
    })
    chart.set_title({"name": "Poured more than rung (+) or less (-)", "name_font": {"size": 11}})
    chart.set_legend({"none": True})
    chart.set_y_axis({"reverse": True, "label_position": "low"})
    chart.set_x_axis({"name": label, "major_gridlines": {"visible": True}})
    chart.set_size({"width": 760, "height": 90 + 24 * len(lines)})
    page = book.get_worksheet_by_name("Products")
    page.insert_chart(HEAD_ROW + len(rows) + 3, 0, chart)


def _areas(lines: Sequence[int], first: int, last: int) -> str:
    """The cells of some lines as a formula; lines that follow each other are one area."""
    from xlsxwriter.utility import xl_range_abs

    runs: list[list[int]] = []
    for line in lines:
        if runs and line == runs[-1][1] + 1:
            runs[-1][1] = line
        else:
            runs.append([line, line])
    parts = [f"Products!{xl_range_abs(low, first, high, last)}" for low, high in runs]
    return f"=({','.join(parts)})" if len(parts) > 1 else f"={parts[0]}"


def _terms(
    book: Workbook, styles: _Styles, month: MonthLedger, tables: Sequence[Table], settings: Settings,
    notes: Sequence[str],
) -> None:
    page = book.add_worksheet("Terms")
    page.set_column(0, 0, 26)
    page.set_column(1, 1, 100)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    page.write_string(0, 0, f"{settings.venue.name}, {month.period.name}: terms and method", styles.title)
    for line, (term, said) in enumerate(terms_of(month, tables, settings, notes), HEAD_ROW):
        page.write_string(line, 0, _clean(term), styles.text if said else styles.heading)
        if said:
            page.write_string(line, 1, _clean(said), styles.text)
            page.set_row(line, 15 * (1 + len(said) // 110))
        else:
            page.write_blank(line, 1, None, styles.heading)
