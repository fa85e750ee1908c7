"""kegs-M.csv: keg by keg, what it held, what ran through the meter, what was rung."""

from __future__ import annotations

from unrung.business_day import local_iso
from unrung.issue.cells import percent, volume
from unrung.issue.glossary import outlet_column, product_column, unit_column
from unrung.issue.shown import thousandths
from unrung.issue.table import LOCAL_FORMAT, Cell, Column, Row, Table, count, number, text
from unrung.ledger.kegs import NOTES, KegRow
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings


def month_kegs_table(month: MonthLedger, settings: Settings) -> Table:
    """Every keg that was on a line in the period, whole: also what it gave before the period."""
    rows = [_cells(one, month.period.name, settings) for one in month.kegs]
    return Table("kegs", "Keg by keg", _columns(settings), rows)


def _cells(one: KegRow, period: str, settings: Settings) -> Row:
    unit, zone = settings.venue.volume_unit, settings.venue.timezone
    shown = {
        "contents": _shown(one.contents_ul, unit), "metered": thousandths(one.metered_ul, unit),
        "rung": thousandths(one.rung_ul, unit), "logged": thousandths(one.logged_ul, unit),
        "not_beer": thousandths(one.not_beer_ul, unit), "left": thousandths(one.left_ul, unit),
    }
    used = None if one.used_ul is None else (shown["contents"] or 0) - (shown["left"] or 0)
    metered = shown["metered"] or 0
    cells: dict[str, Cell] = {
        "period": period, "outlet": one.outlet, "product": one.product, "line": one.line, "keg": one.keg,
        "kegs": one.kegs, "on_local": _when(one.on_ms, zone), "off_local": _when(one.off_ms, zone),
        "unit": unit, **{name: None if value is None else volume(value) for name, value in shown.items()},
        "used": None if used is None else volume(used),
        "before_meter": None if used is None else volume(used - metered),
        "before_meter_within": volume(thousandths(one.within_ul, unit)),
        "after_meter": volume(metered - (shown["rung"] or 0) - (shown["logged"] or 0)),
        "yield_pct": None if one.used_ul is None else percent(one.rung_ul, one.used_ul),
        "notes": "; ".join(NOTES[note] for note in one.notes),
    }
    return cells


def _shown(volume_ul: int | None, unit: str) -> int | None:
    return None if volume_ul is None else thousandths(volume_ul, unit)


def _when(at_ms: int | None, zone: str) -> str | None:
    return None if at_ms is None else local_iso(at_ms, zone)


def _columns(settings: Settings) -> tuple[Column, ...]:
    return (
        text("period", "Accounting period.", required=True), outlet_column(), product_column(),
        text("line", "The meter it ran through, or the tap where no meter is named."),
        text("keg", "The keg's own number, where the cellar keeps one."),
        count("kegs", "Kegs that fed the line together.", minimum=1),
        Column("on_local", "datetime", "When it went on; empty where that is not known.", LOCAL_FORMAT),
        Column("off_local", "datetime", "When it came off or the next one went on; empty while it runs.",
               LOCAL_FORMAT),
        unit_column(settings),
        number("contents", "What it held when it went on; empty where that is not known.", required=False),
        number("metered", "Beer that ran through the meter."),
        number("rung", "Set portions of the rings that found their serve in it."),
        number("logged", "Metered volume that log entries and keg changes explain."),
        number("not_beer", "Water, cleaner or gas that passed the meter."),
        number("left", "What was left in it when it came off."),
        number("used", "contents - left; empty while it runs, or where that cannot be told.", required=False),
        number("before_meter", "used - metered: lost before the meter, or never in the keg.", required=False),
        number("before_meter_within", "Greatest error of before_meter by the tolerances of keg (OIML R 138: "
               "0.5 %, at least 0.10 L) and meter."),
        number("after_meter", "metered - rung - logged: lost after the meter."),
        number("yield_pct", "rung in percent of used.", required=False),
        text("notes", "What is known of it otherwise."),
    )
