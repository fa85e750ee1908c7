"""What the mapped texts of a row mean: rings, pours, readings, keg events, log entries."""

from __future__ import annotations

from typing import Any

import pytest

from adapters.exports import FIELDS, mapping, one, read_csv, utc_ms
from unrung.mapping import FIELDS as KNOWN
from unrung.records import Reject
from unrung.units import to_ul
from unrung_adapters.build import ORDERS

AT = "2026-10-31T20:41:07Z"
AT_MS = utc_ms(AT)
KINDS = {"void": ["VOID", "void line"], "comp": ["comp"], "refund": ["REF"], "training": ["trng"]}


def row_of(carries: str, cells: dict[str, str], **settings: Any) -> Any:
    """One CSV row with a column for each field, read as records of ``carries``."""
    settings.setdefault("fields", {name: name for name in cells})
    text = "\t".join(cells) + "\n" + "\t".join(cells.values()) + "\n"
    return one(read_csv(text, mapping(carries, delimiter="\t", **settings)))


def ring(**cells: str) -> dict[str, str]:
    return {"at": AT, "item": "Stout", **cells}


def test_builders_know_every_field_that_can_be_mapped() -> None:
    assert {carries: set(order) for carries, order in ORDERS.items()} == {
        carries: set(fields) for carries, fields in KNOWN.items()
    }


@pytest.mark.parametrize("carries", FIELDS)
def test_every_field_lands_where_it_belongs(carries: str) -> None:
    """Texts are put in by field name, so that a mix-up of two fields shows."""
    known = [name for name in KNOWN[carries] if name in {
        "item", "size", "price_level", "modifier", "check", "terminal", "outlet", "voids", "id",
        "version", "tap", "meter", "product", "keg", "to_outlet",
    }]  # fmt: skip
    base = {
        "rings": ring(), "pours": {"start": AT, "end": AT, "pulses": "7"},
        "readings": {"at": AT, "pulses": "7"}, "kegs": {"at": AT, "kind": "tapped"},
        "log": {"at": AT, "reason": "spilt", "volume": "1"},
    }[carries]  # fmt: skip
    names = [name for name in known if not (carries == "kegs" and name == "size")]
    record = row_of(carries, {**base, **{name: f"the {name}" for name in names}})
    renamed = {"id": "ref", "voids": "voids_ref"}
    for name in names:
        if not (carries == "pours" and name == "meter"):  # A tap is nearer to the beer than a meter.
            assert getattr(record, renamed.get(name, name)) == f"the {name}"


# Rings -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "settings", "expected"),
    [
        ({}, {}, {"units_micro": 1_000_000, "kind": "sale", "amount_minor": None, "at_ms": AT_MS}),
        ({"units": "0.5", "amount": "3.25", "tax": ".40"}, {},
         {"units_micro": 500_000, "amount_minor": 325, "tax_minor": 40}),
        ({"units": "3", "amount": "6.50"}, {"amounts": "each"}, {"amount_minor": 1950}),
        ({"units": "0.5", "amount": "6.51"}, {"amounts": "each"}, {"amount_minor": 326}),
        ({"amount": ""}, {}, {"amount_minor": None}),
        ({"amount": "650"}, {"currency_digits": 0}, {"amount_minor": 650}),
        ({"amount": "650", "tax": "40"}, {"money_unit": "minor"}, {"amount_minor": 650, "tax_minor": 40}),
        ({"units": "3", "amount": "650.0"}, {"money_unit": "minor", "amounts": "each"},
         {"amount_minor": 1950}),
        ({"kind": " Void "}, {"kinds": KINDS}, {"kind": "void", "voided_ms": None}),
        ({"kind": "Dine in"}, {"kinds": KINDS}, {"kind": "sale"}),
        ({"kind": ""}, {"kinds": KINDS}, {"kind": "sale"}),
        ({"kind": "trng", "units": "-1"}, {"kinds": KINDS}, {"kind": "training", "units_micro": -1_000_000}),
        ({"kind": "void", "units": "-1"}, {"kinds": KINDS}, {"kind": "void", "units_micro": -1_000_000}),
        ({"units": "-1", "voids": "A7"}, {"negative_units": "void"}, {"kind": "void", "voids_ref": "A7"}),
        ({"units": "-1"}, {"negative_units": "refund"}, {"kind": "refund", "units_micro": -1_000_000}),
        ({"voided_at": "2026-10-31T20:51:07Z"}, {}, {"kind": "void", "voided_ms": AT_MS + 600_000}),
        ({"voided_at": ""}, {}, {"kind": "sale", "voided_ms": None}),
    ],
)  # fmt: skip
def test_a_till_line_becomes_a_ring(
    cells: dict[str, str], settings: dict[str, Any], expected: dict[str, Any]
) -> None:
    found = row_of("rings", ring(**cells), **settings)
    assert {name: getattr(found, name) for name in expected} == expected


def test_staff_names_are_dropped_unless_they_are_asked_for() -> None:
    cells = ring(staff="Ann Other")
    without = row_of("rings", cells)
    assert without.staff == "" and "Ann" not in without.raw
    assert row_of("rings", cells, keep_staff=True).staff == "Ann Other"
    aside = row_of("rings", {**cells, "at": "noon"})
    assert isinstance(aside, Reject) and "Ann" not in repr(aside)


def test_a_column_that_is_not_mapped_is_kept_nowhere() -> None:
    fields = {"at": "at", "item": "item"}
    for at in (AT, "noon"):
        assert "Ann" not in repr(row_of("rings", ring(at=at, waiter="Ann"), fields=fields))


# Pours and readings ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "cells",
    [
        {"start": AT, "end": "2026-10-31T20:41:15Z"}, {"start": AT, "duration": "8"},
        {"end": "2026-10-31T20:41:15Z", "duration": "8.0"},
        {"start": AT, "end": "2026-10-31T20:41:15Z", "duration": "9.9"},
        {"start": AT, "end": "", "duration": "8"},
        {"start": AT, "end": "2026-10-31T20:41:15Z", "duration": ""},
    ],
)  # fmt: skip
def test_a_pour_has_both_its_ends_from_any_two(cells: dict[str, str]) -> None:
    pour = row_of("pours", {"tap": "4", "volume": "16", **cells})
    assert (pour.start_ms, pour.end_ms) == (AT_MS, AT_MS + 8_000)
    assert (pour.tap, pour.volume_ul, pour.pulses) == ("4", to_ul(16, "us_fl_oz"), None)


@pytest.mark.parametrize(
    ("cells", "settings", "expected"),
    [
        ({"volume": "473.18"}, {"volume_unit": "ml"}, (473_180, None)),
        ({"volume": "0"}, {}, (0, None)), ({"pulses": "2650"}, {}, (None, 2650)),
        ({"volume": "", "pulses": "2650"}, {}, (None, 2650)),
        ({"volume": "1", "pulses": "2650"}, {"volume_unit": "cl"}, (10_000, None)),
    ],
)  # fmt: skip
def test_a_pour_is_a_volume_or_a_count_of_pulses(
    cells: dict[str, str], settings: dict[str, Any], expected: tuple[int | None, int | None]
) -> None:
    pour = row_of("pours", {"meter": "M4", "start": AT, "end": AT, **cells}, **settings)
    assert (pour.volume_ul, pour.pulses) == expected
    assert pour.tap == "M4"


def test_a_pour_through_the_repeated_hour_keeps_its_length() -> None:
    """01:59:55 daylight time to 01:00:05 standard time: ten seconds (PEP 495, America/New_York)."""
    spans = ("01:40:00", "01:40:08"), ("01:59:55", "01:00:05"), ("01:20:00", "01:20:08")
    lines = [f"1,2026-11-01T{start},2026-11-01T{end},16\n" for start, end in spans]
    pours: Any = read_csv("tap,start,end,volume\n" + "".join(lines), mapping("pours"))
    assert [pour.end_ms - pour.start_ms for pour in pours] == [8_000, 10_000, 8_000]
    assert pours[1].end_ms == utc_ms("2026-11-01T06:00:05Z")


def test_a_reading_is_a_total_or_a_count_of_pulses() -> None:
    total = row_of("readings", {"meter": "M4", "at": AT, "total": "1204.5"})
    pulses = row_of("readings", {"meter": "M4", "at": AT, "pulses": "987654321"})
    assert (total.total_ul, total.pulses) == (1_204_500_000, None)
    assert (pulses.total_ul, pulses.pulses, pulses.at_ms) == (None, 987_654_321, AT_MS)


# Kegs and log ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "settings", "expected"),
    [
        ({"kind": "Tapped", "tap": "4"}, {}, {"kind": "on", "tap": "4", "size_ul": None}),
        # 1/2 US barrel: 15.5 US gallons of 231 cubic inches (27 CFR 25.11, 25.156).
        ({"kind": "arrived", "size": "1/2 us_bbl", "units": "3"}, {},
         {"size_ul": 58_673_883, "units_micro": 3_000_000}),
        ({"kind": "arrived", "size": "half barrel"}, {}, {"size_ul": 58_673_883}),
        ({"kind": "arrived", "size": "50"}, {"volume_unit": "l"}, {"size_ul": 50_000_000}),
        ({"kind": "arrived", "size": "50 l"}, {"volume_unit": "us_gal"}, {"size_ul": 50_000_000}),
        ({"kind": "arrived", "cost": "165.00", "units": ""}, {},
         {"cost_minor": 16500, "units_micro": 1_000_000}),
        ({"kind": "tapped", "gross_kg": "72.4", "tare_kg": "13.5"}, {},
         {"gross_g": 72_400, "tare_g": 13_500, "units_micro": 0}),
        ({"kind": "arrived", "part": "10", "units": " "}, {"volume_unit": "l"}, {"units_micro": 0}),
        ({"kind": "arrived", "part": "10", "units": "2"}, {"volume_unit": "l"}, {"units_micro": 2_000_000}),
        # 872 x 29.5735295625 mL
        ({"kind": "tapped", "part": "872"}, {"volume_unit": "us_fl_oz"}, {"part_ul": 25_788_118}),
    ],
)  # fmt: skip
def test_a_row_of_the_cellar_becomes_a_keg_event(
    cells: dict[str, str], settings: dict[str, Any], expected: dict[str, Any]
) -> None:
    found = row_of("kegs", {"at": AT, **cells}, **settings)
    assert {name: getattr(found, name) for name in expected} == expected


def test_a_constant_kind_may_be_our_own_word() -> None:
    fields = {"at": "at", "kind": {"const": "delivery"}, "product": "product"}
    found = row_of("kegs", {"at": AT, "product": "Stout"}, fields=fields, kinds={})
    assert found.kind == "delivery"


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ({"at": AT, "volume": "16"}, {"at_ms": AT_MS, "volume_ul": 473_176, "day": ""}),
        ({"at": AT, "end": "2026-10-31T21:00:00Z", "volume": "16"}, {"end_ms": utc_ms("2026-10-31T21:00Z")}),
        ({"at": AT, "item": "Pint Stout", "units": "3"}, {"units_micro": 3_000_000, "volume_ul": None}),
        ({"day": "2026-10-30", "item": "Pint Stout"},
         {"at_ms": None, "day": "2026-10-30", "at_text": "2026-10-30"}),
        ({"at": "", "day": "2026-10-30", "volume": "16"}, {"at_ms": None, "day": "2026-10-30"}),
        ({"at": AT, "day": "2026-10-30", "volume": "16"}, {"at_ms": AT_MS, "day": ""}),
    ],
)  # fmt: skip
def test_a_line_of_the_sheet_becomes_a_log_entry(
    cells: dict[str, str], expected: dict[str, Any]
) -> None:
    found = row_of("log", {"reason": "spilt", **cells})
    assert {name: getattr(found, name) for name in expected} == expected


def test_a_cleaning_may_be_a_span_without_a_volume() -> None:
    cells = {"at": AT, "end": "2026-10-31T21:00:00Z", "reason": "clean", "volume": ""}
    found = row_of("log", cells, kinds={"cleaning": ["clean"]})
    assert (found.reason, found.volume_ul) == ("cleaning", None)


# What cannot be ----------------------------------------------------------------------------------

POUR = {"tap": "4", "start": AT, "end": "2026-10-31T20:41:15Z", "volume": "16"}
BAD: dict[str, list[tuple[dict[str, str], dict[str, Any], str, str]]] = {
    "rings": [
        (ring(at=""), {}, "at", "is empty"), (ring(at="31/10/2026 20:41"), {}, "at", "is not a time"),
        (ring(at="1970-01-01T00:00:12Z"), {}, "at", "before the year 2000"),
        (ring(at="2027-11-01T20:00:00Z"), {}, "at", "is in the future: is the date order right?"),
        (ring(item=" "), {}, "item", "is empty"), (ring(units="two"), {}, "units", "is not a number"),
        (ring(units=""), {}, "units", "is empty"), (ring(units="-1"), {}, "units", "is negative"),
        (ring(units="-1", kind="comp"), {"kinds": KINDS}, "units", "is negative"),
        (ring(units="40063813"), {}, "units", "is more than the 10,000 that a line may be of"),
        (ring(units="-10001"), {"negative_units": "void"}, "units", "is more than the 10,000"),
        (ring(units="9" * 12), {}, "units", "is more than the 10,000"),
        (ring(amount="6.505"), {}, "amount", "more than 2 decimals"),
        (ring(amount="6.5"), {"money_unit": "minor"}, "amount", "more than 0 decimals"),
        (ring(amount="6,50"), {}, "amount", "is not a number with decimal mark '.'"),
        (ring(amount="$6.50"), {}, "amount", "is not a number"),
        (ring(tax="x"), {}, "tax", "is not a number"),
        (ring(kind="Dine in"), {"kinds": KINDS, "kinds_strict": True}, "kind", "is not listed"),
        (ring(kind=""), {"kinds": KINDS, "kinds_strict": True}, "kind", "is not listed"),
        (ring(voided_at="later"), {}, "voided_at", "is not a time"),
    ],
    "pours": [
        ({**POUR, "volume": "-16"}, {}, "volume", "is negative"),
        ({**POUR, "volume": "300"}, {"volume_unit": "l"},
         "volume", "300 litres in one pour: is the unit right?"),
        ({**POUR, "volume": "473"}, {"max_pour_ul": 4_000_000}, "volume", "14 litres in one pour"),
        ({**POUR, "volume": ""}, {}, "volume", "is empty"), ({**POUR, "tap": ""}, {}, "tap", "is empty"),
        ({**POUR, "end": "2026-10-31T20:41:06Z"}, {}, "end", "is before the start"),
        ({**POUR, "end": ""}, {}, "end", "is empty, and so is the duration"),
        ({**POUR, "start": "", "duration": ""}, {}, "start", "is empty, and so is the duration"),
        ({**POUR, "duration": "10.1"}, {}, "duration", "8 s apart, the duration says 10.1 s"),
        ({"tap": "4", "start": AT, "duration": "-1", "volume": "1"}, {}, "duration", "is negative"),
        ({"tap": "4", "start": AT, "duration": "999999999", "volume": "1"}, {}, "duration", "in the future"),
        ({"tap": "4", "end": AT, "duration": "999999999", "volume": "1"}, {},
         "duration", "before the year 2000"),
        ({"tap": "4", "start": AT, "end": AT, "pulses": "-3"}, {}, "pulses", "is negative"),
        ({"tap": "4", "start": AT, "end": AT, "pulses": "3.5"}, {}, "pulses", "is not a whole number"),
    ],
    "readings": [
        ({"meter": "", "at": AT, "total": "1"}, {}, "meter", "is empty"),
        ({"meter": "M", "at": AT, "total": "-1"}, {}, "total", "is negative"),
        ({"meter": "M", "at": AT, "total": ""}, {}, "total", "is empty"),
    ],
    "kegs": [
        ({"at": AT, "kind": "on"}, {}, "kind", "is not listed under formats.kinds"),
        ({"at": AT, "kind": ""}, {}, "kind", "is not listed"),
        ({"at": AT, "kind": "tapped", "size": "barrel"}, {}, "size", "is not a keg size"),
        ({"at": AT, "kind": "tapped", "size": "1/0 l"}, {}, "size", "is not a keg size"),
        ({"at": AT, "kind": "tapped", "size": "l" * 99}, {}, "size", "is not a keg size"),
        ({"at": AT, "kind": "tapped", "size": "4" * 5000 + " l"}, {}, "size", "is not a keg size"),
        ({"at": AT, "kind": "tapped", "size": "50"}, {}, "size", "has no unit"),
        ({"at": AT, "kind": "tapped", "size": "50000"}, {"volume_unit": "l"}, "size", "is 50000 litres"),
        ({"at": AT, "kind": "tapped", "size": "0"}, {"volume_unit": "l"}, "size", "is 0 litres"),
        ({"at": AT, "kind": "tapped", "units": "-1"}, {}, "units", "is negative"),
        ({"at": AT, "kind": "tapped", "cost": "-5"}, {}, "cost", "is negative"),
        ({"at": AT, "kind": "tapped", "gross_kg": "-5"}, {}, "gross_kg", "is negative"),
    ],
    "log": [
        ({"at": AT, "reason": "waste", "volume": "1"}, {}, "reason", "is not listed"),
        ({"at": AT, "reason": "spilt", "volume": "-1"}, {}, "volume", "is negative"),
        ({"at": AT, "reason": "spilt", "volume": "", "item": ""}, {},
         "volume", "neither a volume nor an item"),
        ({"at": AT, "reason": "spilt", "item": "Stout", "units": "-1"}, {}, "units", "is negative"),
        ({"at": "", "reason": "spilt", "volume": "1"}, {}, "at", "is empty"),
        ({"at": "", "day": "", "reason": "spilt", "volume": "1"}, {}, "day", "is empty"),
        ({"day": "31/10/2026", "reason": "spilt", "volume": "1"}, {}, "day", "is not a date"),
        ({"day": "2027-10-31", "reason": "spilt", "volume": "1"}, {}, "day", "in the future"),
        ({"day": "1926-10-31", "reason": "spilt", "volume": "1"}, {}, "day", "before the year 2000"),
        ({"at": AT, "end": "2026-10-31T20:00Z", "reason": "spilt", "volume": "1"}, {},
         "end", "before the start"),
        ({"at": AT, "end": "2026-11-01T20:41:08Z", "reason": "spilt", "volume": "1"}, {},
         "end", "more than a day after the start"),
    ],
}  # fmt: skip


@pytest.mark.parametrize(
    ("carries", "cells", "settings", "field", "words"),
    [(carries, *case) for carries, cases in BAD.items() for case in cases],
)
def test_a_row_that_cannot_be_is_put_aside_with_field_value_reason_and_fix(
    carries: str, cells: dict[str, str], settings: dict[str, Any], field: str, words: str
) -> None:
    aside = row_of(carries, cells, **settings)
    assert isinstance(aside, Reject), aside
    assert (aside.line, aside.field, aside.value) == (2, field, cells[field])
    assert words in aside.reason and aside.fix.endswith((".", "'")) and aside.cells == cells
