"""The whole truth of the week, as ``truth.json`` holds it."""

from __future__ import annotations

from collections import defaultdict

from sample_venue.bar import Week
from sample_venue.exports import TILL_LEAD, rejects
from sample_venue.ledger import Row, day_of, ledger, till_rows
from sample_venue.partners import cases, log_rows, lone_rings, partners
from sample_venue.place import BY_NAME, KEG_UL, UNKNOWN_TAP, oz


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

