"""The ledger of the week, from the generator's own labels.

Every number follows from what was written down when it happened: no ring is looked for here.
Volumes are whole microlitres, units millionths, money whole cents.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from fractions import Fraction

from sample_venue.bar import Line, LogRow, Pour, Serve, Week
from sample_venue.clock import DAYS
from sample_venue.exports import TILL_LEAD, bounds, rejects
from sample_venue.place import BY_NAME, GARDEN, GOLD, KEG_UL, LONG, TAPS, UNKNOWN_TAP, oz, sizes_oz

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


def _cleaning(entry: LogRow, rows: dict[Key, Row]) -> None:
    if entry.reason != "Line clean":
        return
    tap = entry.pours[0].tap
    row, line_left = rows[day_of(entry.pours[0].end), tap.outlet, tap.product], oz(tap.line_oz)
    for pour in entry.pours:
        beer = min(line_left, pour.ul)
        line_left -= beer
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


# --- who belongs to whom ---------------------------------------------------------------------

def partners(week: Week) -> dict[str, str]:
    """Every metered pour's line, or its label."""
    found: dict[str, list[str]] = defaultdict(list)
    for serve in week.serves:
        for pour, _ in serve.shares:
            found[pour.id].append(_partner(serve))
    for pour in week.pours:
        if pour.tap.metered and pour.label != "beer":
            found[pour.id].append(pour.label)
    return {pour: " ".join(words) for pour, words in sorted(found.items())}


def _partner(serve: Serve) -> str:
    lines = "+".join(line.id for line in serve.lines)
    label = {"rung": "", "voided": "voided:", "log": "logged:"}.get(serve.fate, serve.fate)
    if serve.fate == "log":
        return label + serve.note
    if serve.fate == "lone" and serve.note:
        return f"lone:{serve.note}"
    return label + lines


def lone_rings(week: Week) -> dict[str, str]:
    return {
        serve.lines[0].id: serve.note or serve.fate
        for serve in week.serves if serve.fate in ("no_pour", "unmetered")
    }


def unlisted(week: Week) -> dict[str, Row]:
    """Items of the till that no row of the menu names, with their units."""
    units: dict[str, int] = defaultdict(int)
    for line in week.lines:
        if (line.item.name, line.item.size) not in BY_NAME:
            units[line.item.name] += line.micro
    column = {True: "unknown_item", False: "not_draught"}
    out: dict[str, Row] = {"unknown_item": {}, "not_draught": {}}
    for name in sorted(units):
        out[column["Snifter" in name]][name] = units[name]
    return out


def log_rows(week: Week) -> Iterator[dict[str, object]]:
    explained = explanations(week)
    for entry in week.log:
        product = entry.product or entry.item
        done = sum(explained.get(pour, 0) for pour in entry.pours)
        yield {
            "day": str(day_of(entry.written)), "outlet": entry.outlet, "product": product,
            "reason": entry.reason, "timed": entry.at is not None, "said_ul": entry.said_ul,
            "explained_ul": done, "pours": [pour.id for pour in entry.pours],
        }


def cases(week: Week) -> dict[str, list[str]]:
    """Where each special thing is to be found, by the ids of its pours or lines."""
    found: dict[str, list[str]] = defaultdict(list)
    for serve in week.serves:
        name = serve.note or ("" if serve.fate in ("rung", "unmetered") else serve.fate)
        if name:
            ids = [pour.id for pour, _ in serve.shares] or [line.id for line in serve.lines]
            found[name] += [one for one in ids if one not in found[name]]
    for line in week.lines:
        if line.status:
            found[line.status.lower()].append(line.id)
        if line.takes_back:
            found["negative void"].append(line.id)
    for pour in week.pours:
        if pour.label != "beer":
            found[pour.label].append(pour.id)
    return dict(sorted(found.items()))


def stock(week: Week) -> list[dict[str, object]]:
    """What the counts say stood in each bar, and what the week took out of the kegs."""
    rows: dict[tuple[str, str], dict[str, int]] = {}
    for keg in week.kegs:
        row = rows.setdefault(
            (keg.outlet, keg.product),
            {"delivered_ul": 0, "moved_in_ul": 0, "moved_out_ul": 0},
        )
        whole = keg.kegs * KEG_UL[keg.product]
        if keg.kind == "Counted":
            row.setdefault("opening_ul", whole + oz(keg.part_oz or 0))
            row[f"counted_{day_of(keg.at)}_ul"] = whole + oz(keg.part_oz or 0)
        elif keg.kind == "Delivered":
            row["delivered_ul"] += whole
        elif keg.kind == "Moved":
            row["moved_out_ul"] += whole
            rows[keg.to_outlet, keg.product]["moved_in_ul"] += whole
    return [
        {"outlet": outlet, "product": product, **row}
        for (outlet, product), row in sorted(rows.items())
    ]


ABOUT = (
    "Written by tests/sample_venue/make.py from its own labels. Volumes: whole microlitres; units: "
    "millionths; money: cents. partners: pour to till line ('+' joins the checks of one unit, a "
    "blank the units that one pour filled), 'voided:' its voided line, or a label. serves leaves "
    "out gas, cleaning and the unknown tap. till_units: units of all lines but refunds, negative "
    "lines not taken off (they stand in voids)."
)


def truth(week: Week) -> dict[str, object]:
    return {
        "about": ABOUT,
        "days": [
            {"day": str(day), "outlet": outlet, "product": product, **row}
            for (day, outlet, product), row in ledger(week).items()
        ],
        "till": [
            {"day": str(day), "outlet": outlet, **row}
            for (day, outlet), row in till_rows(week).items()
        ],
        "log": list(log_rows(week)),
        "stock": stock(week),
        "till_clock_ahead_s": TILL_LEAD,
        "rejects": rejects(),
        "unlisted": unlisted(week),
        "unknown_taps": {
            UNKNOWN_TAP: [p.id for p in week.pours if p.tap.name == UNKNOWN_TAP]
        },
        "cases": cases(week),
        "lone_rings": lone_rings(week),
        "partners": partners(week),
    }

