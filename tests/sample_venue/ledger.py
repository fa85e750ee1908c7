"""The ledger of the week, from the generator's own labels.

Every number follows from what was written down when it happened: no ring is looked for here.
Volumes are whole microlitres, units millionths, money whole cents.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from sample_venue.bar import Line, LogRow, Pour, Serve, Week
from sample_venue.clock import DAYS
from sample_venue.exports import bounds
from sample_venue.place import GARDEN, GOLD, LONG, TAPS, oz, sizes_oz

VOLUMES = (
    "matched_portion", "over_portion", "under_portion", "size_difference", "logged",
    "poured_not_rung", "voided_after_pour", "rung_not_poured", "poured_not_compared",
    "rung_not_compared", "not_beer", "comp_volume",
)
COUNTS = ("serves", "units_rung_micro", "comp_units_micro", "net_sales_minor")
TILL = (
    "till_units", "voids", "comps", "training", "carried_in", "carried_out", "not_draught",
    "unknown_item", "units_rung",
)
NOT_COMPARED = (GARDEN, GOLD)
"""A tap without a meter serves this beer in this bar too."""
TOLERANCE = Fraction(102, 100)
ALLOWANCE = oz(16)

Row = dict[str, int]
Key = tuple[date, str, str]


def day_of(at: int) -> date:
    return next(day for day in DAYS if bounds(day)[0] <= at < bounds(day)[1])


def shared(total: int, parts: int) -> list[int]:
    """``total`` in equal whole shares; what is left goes to the first ones.

    >>> shared(1150, 4), shared(775, 2)
    ([288, 288, 287, 287], [388, 387])
    """
    each, left = divmod(total, parts)
    return [each + (nth < left) for nth in range(parts)]


def ledger(week: Week) -> dict[Key, Row]:
    rows: dict[Key, Row] = {
        (day, outlet, product): dict.fromkeys((*VOLUMES, *COUNTS), 0)
        for day in DAYS for outlet, product in sorted({(t.outlet, t.product) for t in TAPS})
    }
    explained = explanations(week)
    for serve in week.serves:
        row = rows[day_of(serve.at), serve.outlet, serve.product]
        _volumes(serve, row, explained)
        row["serves"] += bool(serve.shares)
    for pour in week.pours:
        if pour.label == "gas":
            rows[day_of(pour.end), pour.tap.outlet, pour.tap.product]["not_beer"] += pour.ul
    for entry in week.log:
        _cleaning(entry, rows)
    for line in week.lines:
        _counts(line, taken_back(week), rows)
    return rows


def _volumes(serve: Serve, row: Row, explained: dict[Pour, int]) -> None:
    compared = (serve.outlet, serve.product) != NOT_COMPARED
    if serve.fate == "rung":
        row["matched_portion"] += serve.portion_ul
        row[difference_goes(serve)] += (
            abs(serve.ul - serve.portion_ul) if difference_goes(serve) != "size_difference"
            else serve.ul - serve.portion_ul
        )
    elif serve.fate in ("no_pour", "unmetered"):
        row["rung_not_poured" if compared else "rung_not_compared"] += serve.portion_ul
    else:
        logged = sum(min(share, explained.get(pour, 0)) for pour, share in serve.shares)
        row["logged"] += logged
        row["poured_not_rung" if compared else "poured_not_compared"] += serve.ul - logged
        row["voided_after_pour"] += serve.ul if serve.fate == "voided" else 0
    if serve.lines and serve.lines[0].status == "COMP":
        row["comp_volume"] += serve.portion_ul


def difference_goes(serve: Serve) -> str:
    """Where metered less set belongs: to the size, if another one on the menu is nearer."""
    off = abs(serve.ul - serve.portion_ul)
    if any(abs(serve.ul - oz(size)) < off for size in sizes_oz(serve.product)):
        return "size_difference"
    return "over_portion" if serve.ul >= serve.portion_ul else "under_portion"


def explanations(week: Week) -> dict[Pour, int]:
    """How much of each pour its log entry, or its keg change, explains."""
    explained: dict[Pour, int] = {}
    for entry in week.log:
        left = int(entry.said_ul * TOLERANCE)
        for pour in entry.pours if entry.said_ul else ():
            explained[pour] = min(left, pour.ul)
            left -= explained[pour]
    for serve in week.serves:
        if serve.fate == "keg_change":
            explained[serve.shares[0][0]] = min(ALLOWANCE, serve.ul)
    return explained


def line_content(entry: LogRow) -> Iterator[tuple[Pour, int]]:
    """What of each pour of a line clean was beer: the line's own content, which comes first."""
    left = oz(entry.pours[0].tap.line_oz)
    for pour in entry.pours:
        yield pour, min(left, pour.ul)
        left -= min(left, pour.ul)


def _cleaning(entry: LogRow, rows: dict[Key, Row]) -> None:
    if entry.reason != "Line clean":
        return
    for pour, beer in line_content(entry):
        row = rows[day_of(pour.end), pour.tap.outlet, pour.tap.product]
        row["logged"] += beer
        row["not_beer"] += pour.ul - beer


# --- rings -----------------------------------------------------------------------------------

def taken_back(week: Week) -> set[Line]:
    """Lines that a void took away, and the lines that took them."""
    gone = {line for line in week.lines if line.status == "VOID"}
    return gone | {line.takes_back for line in gone if line.takes_back}


def _counts(line: Line, gone: set[Line], rows: dict[Key, Row]) -> None:
    if line in gone or line.status == "TRAINING" or not line.item.portions:
        return
    parts = len(line.item.portions)
    units = 0 if line.status == "REFUND" else line.micro
    shares = zip(line.item.portions, shared(units, parts), shared_money(line, parts), strict=True)
    for (product, _), micro, cents in shares:
        row = rows[day_of(line.at), line.outlet, product]
        row["units_rung_micro"] += micro
        row["comp_units_micro"] += micro if line.status == "COMP" else 0
        row["net_sales_minor"] += cents


def shared_money(line: Line, parts: int) -> list[int]:
    sign = -1 if line.cents < 0 else 1
    return [sign * share for share in shared(abs(line.cents), parts)]


def till_rows(week: Week) -> dict[tuple[date, str], Row]:
    """Units of every line but refunds, before anything is taken back; and where they went."""
    rows = {
        (day, outlet): dict.fromkeys(TILL, 0) for day in DAYS for outlet in (LONG, GARDEN)
    }
    gone = taken_back(week)
    for line in week.lines:
        if line.status == "REFUND" or line.micro < 0:
            continue
        row = rows[day_of(line.at), line.outlet]
        row["till_units"] += line.micro
        row[_till_column(line, gone)] += line.micro
        row["comps"] += line.micro if line.status == "COMP" else 0
    return rows


def _till_column(line: Line, gone: set[Line]) -> str:
    if line in gone:
        return "voids"
    if line.status == "TRAINING":
        return "training"
    if line.item.portions:
        return "units_rung"
    return "unknown_item" if "Snifter" in line.item.name else "not_draught"
