"""What setup makes of the bytes: cells, headers, sums, arrays of rows, numbers, columns."""

from __future__ import annotations

import gzip
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from babel.numbers import get_currency_precision

from unrung.errors import UnrungError
from unrung.mapping import Carries, Constant
from unrung.setup.csv_shape import csv_shape, csv_sheet
from unrung.setup.doubt import Notes
from unrung.setup.draft import Draft, Sample
from unrung.setup.footers import with_footers
from unrung.setup.money import settle_money_unit
from unrung.setup.numbers import NumberForm, number_form
from unrung.setup.understand import understand

from .helping import Asked

OUTSIDE = Path(__file__).resolve().parents[1] / "data/outside"
WRITTEN_MS = round(datetime(2026, 11, 20, tzinfo=UTC).timestamp() * 1000)


def draft_of(carries: Carries, *contents: bytes, ask: Asked | None = None) -> Draft:
    samples = [Sample(f"export_{n}.txt", content, WRITTEN_MS) for n, content in enumerate(contents, 1)]
    return understand(carries, "feed", samples, Notes(ask or Asked()))


def plain(draft: Draft) -> dict[str, object]:
    """Field to column, single columns as plain text."""
    return {
        field: source[0] if isinstance(source, tuple) and len(source) == 1 else source
        for field, source in draft.fields.items()
    }


# --- cells -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_the_one_that_cuts_every_row_alike(delimiter: str) -> None:
    rows = [
        ["Time", "Item", "Total"], ["27.10.2026 20:15", '"Pint, large"', "3.50"],
        ["27.10.2026 20:16", "Half", "2.00"],
    ]  # fmt: skip
    text = "".join(delimiter.join(row) + "\r\n" for row in rows)
    shape = csv_shape(text)
    assert shape is not None and (shape.delimiter, shape.header) == (delimiter, tuple(rows[0]))


def test_decimal_commas_are_no_delimiters() -> None:
    shape = csv_shape("Zeit;Artikel;Menge;Betrag\n" + "27.10.2026 20:15;Helles 0,5 l;1,0;4,20\n" * 5)
    assert shape is not None and (shape.delimiter, len(shape.header)) == (";", 4)


@pytest.mark.parametrize(
    "title", ["Sales report\n\n", "Sales report,,,\n", "# made by the till\n# for a day\n"]
)
def test_lines_above_the_header_are_skipped(title: str) -> None:
    text = title + "Time,Item,Qty,Total\n" + "20:15,Pint,1,7.00\n20:17,Half,2,8.00\n" * 3
    shape = csv_shape(text)
    assert shape is not None and shape.skip_lines == title.count("\n")
    assert shape.header == ("Time", "Item", "Qty", "Total")


def test_cells_in_single_quotes_are_cut_out_of_them() -> None:
    shape = csv_shape("'Time','Item'\n" + "'2026-10-27 20:15','Half o'' bitter'\n" * 5)
    assert shape is not None and (shape.quote, shape.header) == ("'", ("Time", "Item"))


def test_a_header_that_comes_again_on_every_page_is_one_all_the_same() -> None:
    shape = csv_shape(("Time,Item\n" + "2026-10-27 20:15,Pint\n" * 5) * 3)
    assert shape is not None and shape.header == ("Time", "Item")
    assert csv_sheet(["Time,Item\n2026-10-27 20:15,Pint\nTime,Item\n"], shape).rows == 1


@pytest.mark.parametrize("text", [
    "<html><table><tr><td>20:15, 7.00, x</td></tr></table>", "<?xml version='1.0'?><rows><row a='1'/></rows>",
])
def test_a_web_page_with_a_workbook_s_name_is_told_to_be_one(text: str) -> None:
    with pytest.raises(UnrungError, match=r"export_1\.txt is a web page or XML.*save it as 'CSV UTF-8'"):
        draft_of("rings", text.encode())


def test_a_file_without_a_header_has_numbered_columns() -> None:
    shape = csv_shape("2026-10-27 20:15,Pint,1,7.00\n2026-10-27 20:17,Half,1,4.00\n")
    assert shape is not None and not shape.has_header and shape.header == ("1", "2", "3", "4")


def test_a_sum_at_the_end_is_no_row() -> None:
    text = "Time,Item,Total\n20:15,Pint,7.00\n20:16,Half,4.00\n20:17,Pint,7.00\nTotal,,18.00\n"
    assert rows_and_skips(text) == (3, [("Time", ("Total",))])


def rows_and_skips(*texts: str) -> tuple[int, list[tuple[str, tuple[str, ...]]]]:
    shape = csv_shape(texts[0])
    assert shape is not None
    shape = with_footers(texts, shape)
    return csv_sheet(texts, shape).rows, list(shape.skips)


@pytest.mark.parametrize("foot, named", [
    ("Celkem;;;{count}", "Celkem"), ("*** KONIEC ***;;;", "*** KONIEC ***"),
    ("Räknade rader {count};;;", "Räknade rader *"), ("Räknade rader {count}", "Räknade rader *"),
])
def test_a_closing_line_in_any_language_is_no_row(foot: str, named: str) -> None:
    """Every file of a folder ends in it, each with a figure of its own."""
    texts = [
        "Datum;Tid;Artikel;Antal\n" + "2026-10-27;20:15;Ljus;1\n" * count + foot.format(count=count) + "\n"
        for count in (20, 31, 44)
    ]
    assert rows_and_skips(*texts) == (95, [("Datum", (named,))])


def test_a_last_row_that_only_lacks_something_stays_a_row() -> None:
    text = "Datum;Tid;Artikel;Antal\n" + "2026-10-27;20:15;Ljus;1\n" * 20 + "2026-10-27;;;\n"
    assert rows_and_skips(text) == (21, [])


@pytest.mark.parametrize("name", ["test_utf8.csv", "dummy.tsv", "test_latin1.csv", "test_utf16_little.csv"])
def test_csvkit_s_examples_are_cut_as_they_are_meant(name: str) -> None:
    """csvkit 2.2.0, examples/: a header and rows of three columns, or more."""
    content = (OUTSIDE / "csvkit-examples" / name).read_bytes()
    text = content.decode("utf-16" if "utf16" in name else "latin-1" if "latin1" in name else "utf-8-sig")
    shape = csv_shape(text)
    assert shape is not None and shape.has_header
    assert shape.delimiter == ("\t" if name.endswith("tsv") else ",") and len(shape.header) >= 3


# --- numbers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "form"),
    [
        (["1,234.50", "7.00"], NumberForm(".", ",")),
        (["1.234,50", "7,00"], NumberForm(",", ".")),
        (["1 234,50", "7,00"], NumberForm(",", " ")),
        (["1\u202f234,50 €", "7,00 €"], NumberForm(",", " ", ("€",))),
        (["1'234.50", "7.00"], NumberForm(".", "'")),
        (["$7.00", "($3.50)", "$1,200.00"], NumberForm(".", ",", ("$",))),
        (["0.473", "0.296"], NumberForm(".")),
        (["12", "7"], NumberForm(".")),
        (["1,234,567", "2,345,678"], NumberForm(".", ",")),
    ],
)
def test_marks_are_read_off_the_numbers(texts: list[str], form: NumberForm) -> None:
    found, decimal = number_form(texts)
    assert (found, decimal.doubt) == (form, None)


def test_three_digits_behind_every_mark_are_asked() -> None:
    _, decimal = number_form(["1.234", "2.500", "15.987"])
    assert decimal.doubt is not None and {choice for choice, _ in decimal.doubt.choices} == {".", ","}


# --- columns ---------------------------------------------------------------------------------------


def till(header: str, count: int = 12) -> bytes:
    """Rows of six cells under any header: time, check, item, quantity, amount, clerk."""
    rows = [
        f"2026-10-27 20:{n:02d}:11,{1000 + n // 2},{'Amber' if n % 3 else 'Stout'} Pint,{1 + n % 5 // 4},"
        f"{7 * (1 + n % 5 // 4)}.50,{n % 3}\n" for n in range(count)
    ]  # fmt: skip
    return (header + "\n" + "".join(rows)).encode()


@pytest.mark.parametrize(
    "header",
    [
        "Rung At,Check No,Menu Item,Quantity,Line Total,Server",
        "timestamp,orderId,itemName,qty,net_amount,employee",
        "Zeitpunkt,Bon-Nr.,Artikel,Menge,Betrag,Bediener",
        "Date/heure,Ticket,Désignation,Quantité,Montant,Serveur",
        "Fecha y hora,Cuenta,Artículo,Cantidad,Importe,Camarero",
        "Data e ora,Scontrino,Articolo,Quantità,Importo,Cameriere",
        "Tijdstip,Bestelling,Omschrijving,Aantal,Bedrag,Medewerker",
        "Tidspunkt,Bongnr,Varenavn,Antall,Beløp,Selger",
        "Dato/tid,Kvittering,Varetekst,Antal,Beløb i alt,Medarbejder",
        "Tidpunkt,Kvittonr,Artikelnamn,Antal,Summa,Säljare",
        "Datum a čas,Účtenka,Položka,Množství,Celkem,Obsluha",
        "Data i godzina,Nr paragonu,Nazwa towaru,Ilość,Wartość,Kelner",
        "Data e hora,Comanda,Descrição,Quantidade,Valor total,Garçom",
    ],
)
def test_headers_in_many_languages_say_the_same(header: str) -> None:
    names = header.split(",")
    assert plain(draft_of("rings", till(header))) == dict(
        zip(("at", "check", "item", "units", "amount"), names, strict=False)
    )


def test_names_of_staff_are_never_mapped() -> None:
    draft = draft_of("rings", till("Time,Check,Item,Qty,Total,Served By"))
    assert "staff" not in draft.fields and "Served By" not in str(draft.fields)


def test_values_have_the_veto_over_headers() -> None:
    """A column called "time" that holds table numbers is no time; one called "name" that does is."""
    rows = "".join(f"{n},2026-10-27 20:{n:02d}:00,Amber {'Pint' if n % 2 else 'Half'}\n" for n in range(20))
    draft = draft_of("rings", ("Time,Printed,Drink\n" + rows).encode())
    assert plain(draft)["at"] == "Printed" and plain(draft)["item"] == "Drink"


def test_a_count_that_begins_anew_in_every_file_is_no_id() -> None:
    """As an id it would let each day replace the one before."""
    rows = ["".join(f"{n},2026-10-{day} 20:{n:02d}:00,Amber\n" for n in range(1, 30)) for day in (27, 28)]
    days = [("No,Time,Item\n" + text).encode() for text in rows]
    assert "id" not in draft_of("rings", *days).fields
    assert "id" not in draft_of("rings", days[0]).fields


def test_without_a_header_values_alone_tell_what_the_columns_are() -> None:
    items = [f"{name} {size}" for name in ("Amber", "Stout", "Burger") for size in ("Pint", "Half")]
    rows = "".join(
        f"{700_000 + n},2026-10-27 20:{n:02d}:11,{items[n % 6]},{1 + n % 7 // 6},{7 * (1 + n % 7 // 6)}.50\n"
        for n in range(30)
    )
    assert plain(draft_of("rings", rows.encode())) == {
        "id": "1", "at": "2", "item": "3", "units": "4", "amount": "5",
    }  # fmt: skip


@pytest.mark.parametrize("word", ["sku", "Item", "PLU"])
def test_a_line_of_each_check_is_a_row_though_each_check_has_one(word: str) -> None:
    """The time stands around the lines, one check to a line of the file."""
    rows = [
        json.dumps({"check": {"no": n, "closed": f"2026-10-27 20:{n:02d}:11"},
                    "lines": [{word: f"Amber {'Pint' if n % 3 else 'Half'}", "n": 1}]})
        for n in range(10, 40)
    ]
    found = draft_of("rings", "\n".join(rows).encode())
    assert plain(found)["item"] == f"/{word}" and plain(found)["at"].endswith("/check/closed")
    assert found.formats["rows"] == "/*/lines" and found.formats["json_lines"]


def test_modifiers_that_are_sizes_of_glasses_are_sizes_and_others_are_not() -> None:
    def rows(size: str) -> str:
        beers = [f"2026-10-27 20:{n:02d}:11,Amber,{'' if n % 12 == 5 else size}\n" for n in range(50)]
        return "".join([*beers, *(f"2026-10-27 21:{n:02d}:11,Tacos,no onion\n" for n in range(40))])

    head = "Time,Item,Modifier\n"
    assert plain(draft_of("rings", (head + rows("16oz")).encode()))["size"] == "Modifier"
    kept = plain(draft_of("rings", (head + rows("with lime")).encode()))
    assert "size" not in kept and kept["modifier"] == "Modifier"


def test_an_entry_s_end_is_seen_by_its_times() -> None:
    rows = "".join(
        f"2026-10-{day} 09:00:00;{f'2026-10-{day} 09:20:00' if day % 3 else ''};Cleaning;T1;\n"
        for day in range(10, 30))
    draft = draft_of("log", ("When;Zz;Why;Tap;Yy\n" + rows).encode())
    assert plain(draft)["end"] == "Zz"


def test_small_figures_under_an_unknown_word_are_not_taken_for_quantities() -> None:
    rows = "".join(f"2026-10-27 20:{n:02d}:11,Amber {n % 3},{1 + n % 4}\n" for n in range(30))
    assert "units" not in draft_of("rings", ("Time,Item,Covers\n" + rows).encode()).fields


def test_unknown_words_do_not_hide_what_was_sold_and_for_how_much() -> None:
    """A till in a language of which setup knows no word: signs of money tell the amounts, of several columns
    the largest, and these the quantities and sizes."""
    rows = ""
    for n in range(180):
        count, (word, price) = 1 + (n % 5 == 0), (("suuri", 8), ("pieni", 5))[n % 2]
        minus = "-" if n % 19 == 7 else ""
        line = (f"2026-10-27 {20 + n // 60}:{n % 60:02d}:11", f"Kurki {n % 9}", word, f"{minus}{count}",
                f"{minus}{count * price},00 €", f"{minus}{count * price / 10:.2f} €".replace(".", ","))
        rows += ";".join(line) + "\n"
    draft = draft_of("rings", f"Aika;Tuotenimi;Annoskoko;Määrä;Yhteensä;Vero\n{rows}".encode())
    assert plain(draft) == {
        "at": "Aika", "item": "Tuotenimi", "size": "Annoskoko", "units": "Määrä", "amount": "Yhteensä",
    }  # fmt: skip


def test_a_column_that_may_count_what_was_sold_is_asked_about() -> None:
    rows = "".join(f"2026-10-27 20:{n:02d}:11,Amber {n % 3},{1 + (n % 4 == 0)}\n" for n in range(30))
    content, asked = ("Time,Item,Zz\n" + rows).encode(), Asked(units="Zz")
    assert plain(draft_of("rings", content, ask=asked))["units"] == "Zz"
    assert [(one.about, one.proposed, one.choices[1]) for one in asked.doubts] == [
        ("units", "none", ("Zz", "2, 1"))]


def test_a_column_that_falls_below_zero_counts_what_was_sold() -> None:
    rows = "".join(f"2026-10-27 20:{n:02d}:11,Amber {n % 3},{-1 if n % 9 == 8 else 1}\n" for n in range(30))
    asked = Asked()
    assert plain(draft_of("rings", ("Time,Item,Zz\n" + rows).encode(), ask=asked))["units"] == "Zz"
    assert "units" not in asked.about


def test_a_column_with_other_marks_than_the_rest_spoils_no_row() -> None:
    """It would be refused in every row by the reader, which takes a mark at its word."""
    rows = "".join(f"2026-10-27 20:{n:02d}:11;Amber {n % 9};{n % 7 + 5},50;0.00\n" for n in range(40))
    draft = draft_of("rings", ("Zeit;Artikel;Betrag;MwSt\n" + rows).encode())
    assert plain(draft) == {"at": "Zeit", "item": "Artikel", "amount": "Betrag"}


def test_amounts_in_a_money_that_setup_does_not_know_are_no_items() -> None:
    rows = "".join(f"2026-10-27 20:{n:02d}:11;{n % 7 + 5},00 Xy;Amber {n % 9}\n" for n in range(40))
    assert plain(draft_of("rings", ("Aika;Zz;Tuotenimi\n" + rows).encode()))["item"] == "Tuotenimi"


def test_a_file_without_times_is_refused_with_the_columns_that_are_there() -> None:
    with pytest.raises(UnrungError, match=r"when a row happened.*'Item' Pint, 'Price' 7\.00"):
        draft_of("rings", b"Item,Price\nPint,7.00\nHalf,4.00\n")


def test_pizzaplace_is_understood_though_its_shape_is_not_ours() -> None:
    """great_tables 1.1.0, pizzaplace: date and time apart, an order's id that is no line's, sizes."""
    draft = draft_of("rings", (OUTSIDE / "pizzaplace/pizzaplace.csv").read_bytes())
    assert plain(draft) == {
        "at": ("date", "time"), "item": "name", "size": "size", "amount": "price", "check": "id",
    }  # fmt: skip


def test_figures_under_names_are_each_a_tap_and_under_known_words_are_told_with_what_to_do() -> None:
    rows = "".join(f"2026-10-27 20:{n:02d}:05,{n * 0.5:.2f},{n * 0.3:.2f}\n" for n in range(40))
    found = draft_of("pours", ("Time,Left 1,Right 2\n" + rows).encode())
    assert found.carries == "readings"
    assert found.formats["tap_columns"] == {"Left 1": "Left 1", "Right 2": "Right 2"}
    assert draft_of("pours", ("Time,Left (ml),Right (ml)\n" + rows).encode()).formats["tap_columns"] == {
        "Left (ml)": "Left", "Right (ml)": "Right"}
    assert draft_of("pours", ("Time,1,2\n" + rows).encode()).formats["tap_columns"] == {"1": "1", "2": "2"}
    said = r"tap or meter.*'Volume' 0\.00.*'Volume', 'Flow' and so on are taps, give them headers such as"
    with pytest.raises(UnrungError, match=said):
        draft_of("pours", ("Time,Volume,Flow\n" + rows).encode())


@pytest.mark.parametrize(("header", "taps"), [
    ("Time,Tap 1 oz,Tap 1 flow,Tap 2 oz,Tap 2 flow,Temp 1", {"Tap 1 oz": "1", "Tap 2 oz": "2"}),
    ("Time,L1,L2,R1,R2,Total 1", {"L1": "L1", "L2": "L2", "R1": "R1", "R2": "R2"}),
    ("Time,Tap A,Tap B,Tap C,Tap D,Temperature", {f"Tap {tap}": tap for tap in "ABCD"}),
])
def test_of_several_columns_a_tap_the_one_that_counts_beer_is_taken(
    header: str, taps: dict[str, str]
) -> None:
    rows = "".join(
        f"2026-10-27 20:{n:02d}:05,{16 + n % 7 / 9:.2f},{n * 3 % 7},{12 + n % 5 / 9:.2f},{n * 5 % 7},38\n"
        for n in range(40))
    assert draft_of("pours", f"{header}\n{rows}".encode()).formats["tap_columns"] == taps


def test_the_unit_of_counts_over_hours_is_told_by_those_of_one_glass() -> None:
    """Most hours hold three to seven half litres; by all of them it was decilitres."""
    rows = "".join(
        f"2026-10-{day} {hour}:00:00,{tap},{(hour % 4 > 0) * (hour * tap + day) % 7 / 2 + 0.5 + tap / 500}\n"
        for day in range(20, 26) for hour in range(12, 23) for tap in (1, 2))
    found = draft_of("pours", ("From,Tap,Flow\n" + rows).encode())
    assert (found.resolution, found.formats["volume_unit"]) == ("interval", "l")


# --- pours -----------------------------------------------------------------------------------------


def meters(header: str, row: str, count: int = 40, ml: float = 474.0) -> Draft:
    """``row`` with ``{start}``, ``{end}``, ``{seconds}``, ``{ml}`` and ``{tap}`` filled in."""
    rows = []
    for n in range(count):
        amount = ml * (1 + 0.004 * (n % 5 - 2)) * (1 if n % 3 else 0.625)
        rows.append(row.format(
            start=f"2026-10-27 20:{n:02d}:05", end=f"2026-10-27 20:{n:02d}:13", seconds=8, tap=f"T{n % 4}",
            ml=round(amount, 1), oz=round(amount / 29.5735, 2), l=round(amount / 1000, 4),
            cl=round(amount / 10, 2), dl=round(amount / 100, 3), count=round(amount * 5.6),
        ))
    return draft_of("pours", (header + "\n" + "\n".join(rows) + "\n").encode())


@pytest.mark.parametrize(
    ("header", "row", "fields", "unit"),
    [
        ("Tap,Start,End,ml", "{tap},{start},{end},{ml}", {"start", "end", "volume"}, "ml"),
        ("Line,Began,Secs,Ounces", "{tap},{start},{seconds},{oz}", {"start", "duration", "volume"},
         "us_fl_oz"),
        ("Hahn,Ende,Dauer s,Liter", "{tap},{end},{seconds},{l}", {"end", "duration", "volume"}, "l"),
        ("Tap,From,To,Amount", "{tap},{start},{end},{oz}", {"start", "end", "volume"}, "us_fl_oz"),
        ("Tap,From,To,Amount", "{tap},{start},{end},{l}", {"start", "end", "volume"}, "l"),
        ("Tap,From,To,Amount", "{tap},{start},{end},{ml}", {"start", "end", "volume"}, "ml"),
        ("Tap,From,To,Menge (dl)", "{tap},{start},{end},{dl}", {"start", "end", "volume"}, "dl"),
        ("Tap,From,To,Amount", "{tap},{start},{end},{dl}", {"start", "end", "volume"}, "dl"),
        ("Tap,To,From,ml", "{tap},{end},{start},{ml}", {"start", "end", "volume"}, "ml"),
        ("Tap,Time,ml", "{tap},{end},{ml}", {"end", "duration", "volume"}, "ml"),
        ("Meter,Start,End,Pulses", "{tap},{start},{end},{count}", {"start", "end", "pulses"}, None),
        ("Meter,Start,End,Value", "{tap},{start},{end},{count}", {"start", "end", "pulses"}, None),
    ],
)
def test_a_pour_s_columns_and_unit(header: str, row: str, fields: set[str], unit: str | None) -> None:
    draft = meters(header, row)
    assert set(draft.fields) - {"tap", "meter"} == fields
    assert draft.formats.get("volume_unit") == unit
    if {"start", "end"} <= fields:
        assert draft.texts("start")[0] < draft.texts("end")[0]


def test_a_leak_of_a_thousand_drips_does_not_make_millilitres_look_like_litres() -> None:
    serves = [f"2026-10-27 20:{n:02d}:05,T1,{470 + n % 9},8" for n in range(40)]
    drips = [f"2026-10-27 03:{n % 60:02d}:{n // 60:02d},T2,{7 + n % 3},1" for n in range(900)]
    for header in ("mL", "Volume"):
        text = "\n".join([f"End,Tap,{header},Seconds", *sorted(serves + drips), ""])
        assert draft_of("pours", text.encode()).formats["volume_unit"] == "ml"


def test_rows_on_the_strokes_of_the_clock_are_counts_over_a_span() -> None:
    strokes = [f"2026-10-27 {hour}:{minute:02d}" for hour in range(12, 22) for minute in (0, 15, 30, 45)]
    rows = "".join(f"T1,{at}:00,{1900 + n * 37 % 500}\n" for n, at in enumerate(strokes))
    assert draft_of("pours", ("Tap,Time,ml\n" + rows).encode()).resolution == "interval"
    rows = "".join(f"T1,{at}:{n:02d},{1900 + n * 37 % 500}\n" for n, at in enumerate(strokes))
    assert draft_of("pours", ("Tap,Time,ml\n" + rows).encode()).resolution == "single"


# --- JSON ------------------------------------------------------------------------------------------


def as_json(document: Any) -> bytes:
    return json.dumps(document).encode()


POURS = [
    {"at": f"2026-10-27T20:{n:02d}:00Z", "secs": 8, "vol": {"ml": 470 + n % 9}} for n in range(20)
]


@pytest.mark.parametrize(
    ("document", "rows", "tap"),
    [
        ([{**pour, "tap": "T1"} for pour in POURS], "", "/tap"),
        ({"data": {"pours": [{**pour, "tap": "T1"} for pour in POURS]}}, "/data/pours", "/tap"),
        ({"taps": [{"tap": n, "pours": POURS} for n in ("T1", "T2")]}, "/taps/*/pours", "2/tap"),
        ({"T1": POURS, "T2": POURS}, "/*", "1#"),
        ({"bars": [{"lines": [{"line": "L", "log": POURS}]}]}, "/bars/*/lines/*/log", "2/line"),
    ],
)
def test_rows_are_found_wherever_they_stand(document: Any, rows: str, tap: str) -> None:
    draft = draft_of("pours", as_json(document))
    assert draft.formats.get("rows", "") == rows
    assert plain(draft)["tap"] == tap and plain(draft)["volume"] == "/vol/ml"


def test_a_side_array_with_as_many_elements_is_not_taken_for_the_rows() -> None:
    """Taxes inside each line: the line is the row."""
    lines = [
        {"id": f"x{n}", "time": f"2026-10-27T20:{n:02d}:00Z", "name": "Amber Pint", "taxes": [{"rate": 0.07}]}
        for n in range(20)
    ]
    draft = draft_of("rings", as_json({"checks": [{"no": 1, "lines": lines}]}))
    assert draft.formats["rows"] == "/checks/*/lines"


def test_a_packed_export_is_unpacked_and_the_setting_written_down() -> None:
    draft = draft_of("rings", gzip.compress(till("Time,Check,Item,Qty,Total,Server")))
    assert draft.formats["compression"] == "gzip" and "item" in draft.fields


@pytest.mark.parametrize(("header", "asked", "main"), [
    ("interval_end", [], "end"), ("Period start", [], "start"), ("Slot", ["interval"], "start"),
])
def test_counts_over_a_span_are_as_long_as_the_strokes_lie_apart(
    header: str, asked: list[str], main: str
) -> None:
    """Most of them are 0."""
    strokes = [f"2026-10-27 {hour}:{minute:02d}" for hour in range(12, 22) for minute in (0, 15, 30, 45)]
    rows = "".join(f"T1,{at},{(16 + n * 0.1) * (n % 4 == 0):.1f}\n" for n, at in enumerate(strokes))
    doubts = Asked()
    draft = draft_of("pours", f"Tap,{header},oz\n{rows}".encode(), ask=doubts)
    assert (draft.resolution, doubts.about) == ("interval", asked)
    assert draft.fields[main] == (header,) and draft.fields["duration"] == Constant(const="900")


def amounts_in(header: str, *amounts: object) -> Draft:
    rows = [{"at": f"2026-10-27T20:{n % 60:02d}:11Z", "item": f"Amber {n % 9}", "qty": 1,
             header: amounts[n % len(amounts)]} for n in range(50)]
    return draft_of("rings", json.dumps(rows).encode())


@pytest.mark.parametrize(("header", "amounts", "currency", "unit", "asks"), [
    ("gross_cents", (450, 700), "USD", "minor", False), ("total", (450, 700), "USD", "minor", True),
    ("total", (4.5, 7), "USD", "", False), ("total", (59, 79), "CZK", "", False),
    ("total", (5900, 7900), "CZK", "minor", True), ("total", (450, 700), "JPY", "", False),
])  # fmt: skip
def test_whole_cents_are_not_taken_for_dollars(
    header: str, amounts: tuple[object, ...], currency: str, unit: str, asks: bool
) -> None:
    draft, asked = amounts_in(header, *amounts), Asked()
    settle_money_unit([draft], currency, get_currency_precision(currency), Notes(asked))
    assert (draft.formats.get("money_unit", ""), bool(asked.doubts)) == (unit, asks)
