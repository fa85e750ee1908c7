"""Reading the config folder: what is wrong is said at once, with file, line, key and what is meant."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import get_args

import pytest

from unrung.checking import check_folder
from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.settings import Settings, VenueUnit
from unrung.units import UNITS_UL
from venue_folder import MENU, PRODUCTS, TAPS, VenueFolder, make_venue, ms


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


def problems(venue: VenueFolder) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        load(venue.path)
    return list(caught.value.problems)


def only_problem(venue: VenueFolder) -> str:
    (found,) = problems(venue)
    return found


def line_of(venue: VenueFolder, text: str, name: str = "venue.toml") -> int:
    lines = (venue.path / name).read_text("utf-8").splitlines()
    (found,) = [number for number, line in enumerate(lines, 1) if text in line]
    return found


def test_a_good_folder_is_read_whole(venue: VenueFolder) -> None:
    settings = load(venue.path)
    assert isinstance(settings, Settings) and settings.folder == str(venue.path.resolve())
    assert [row.product for row in settings.products] == ["Amber", "Stout"]
    assert settings.menu[0].portion_ul == 473_176 and settings.menu[0].price_minor == 700
    assert settings.products[0].keg_cost_minor == 12_000


def test_an_address_may_have_a_name_before_it(venue: VenueFolder) -> None:
    to = ("Ann Bell <ann@bar.example>", '"Bell, Bob" <bob@bar.example>', "bar@localhost")
    venue.edit("venue.toml", "[venue]", f"[mail]\nto = {json.dumps(to)}\n[venue]")
    assert load(venue.path).mail.to == to and load(venue.path).mail.sender == ""


def test_every_problem_of_every_file_is_told_at_once(venue: VenueFolder) -> None:
    venue.edit("venue.toml", "timezone =", "timezon =")
    venue.edit("venue.toml", 'carries = "pours"', 'carries = "poors"')
    venue.edit("products.csv", "30 l", "1/2 barrel")
    venue.edit("menu.csv", "Stout,16", "Stoat,16")
    venue.edit("taps.csv", "1,M1,Bar,Amber,yes", "1,M1,Bar,Amber,maybe")
    found = problems(venue)
    for start, said in (
        ("venue.toml, line 1: venue.timezone", "this key is missing"),
        ("venue.toml, line 3: venue.timezon", "not known; did you mean 'timezone'?"),
        (f"venue.toml, line {line_of(venue, 'poors')}: feed[2].carries", "'pours', 'readings'"),
        ("products.csv, line 3: '1/2 barrel'", "a barrel is 31 US gallons"),
        ("menu.csv, line 3: product 'Stoat'", "not in products.csv; did you mean 'Stout'?"),
        ("taps.csv, line 2: metered is 'maybe'", "write yes or no"),
    ):
        (one,) = [text for text in found if text.startswith(start)]
        assert said in one
    assert len(found) == 6


@pytest.mark.parametrize(("old", "new", "said"), [
    ("[venue]", "[venue]\nday_start = '04:00'", "did you mean 'day_starts'?"),
    ('name = "The Test Jug"', "", "line 1: venue.name: this key is missing."),
    ('"America/New_York"', '"America/NewYork"', "not an IANA zone; did you mean 'America/New_York'?"),
    ('"us_fl_oz"', '"oz"', "'imp_fl_oz', 'imp_pt', 'ml' or 'l' (found 'oz')"),
    ("[venue]", "[venue]\nday_starts = 4", 'write a local time such as "04:00" (found 4)'),
    ("[venue]", "[venue]\nopens = 'noon'", 'write a local time such as "04:00" (found \'noon\')'),
    ("[venue]", "[venue]\ncurrency = 'Dollar'", "of the form [A-Z]{3} (found 'Dollar'). ISO 4217 code."),
    ("[venue]", "[venue]\nlocale = 'xx_YY'", "locale 'xx_YY' is not known; write for example 'en_US'."),
    ("[venue]", "taps = 3\n[venue]", "line 1: 'taps' is not a key here (tables are .csv files)."),
    ("[venue]", "schedule = 5\n[venue]", "line 1: schedule: write a table here (found 5)."),
    ("[venue]", "[[pool]]\nname='P'\noutlets=['Bar','Bra']\n[venue]",
     "pool 'P' names outlet 'Bra', where no tap stands; did you mean 'Bar'?"),
    ('{const = "Bar"}', '{const = "Bra"}', "'Bra', where no tap stands; did you mean 'Bar'?"),
    ('name = "meter"', 'name = "till"', "two feeds are called 'till'."),
    ('exports/meter"\npattern = "*.json"', 'exports/till"\npattern = "*.csv"', "watch the same files; give"),
    ('folder = "exports/till"', "", "feed 'till' needs either folder or url."),
    ('adapter = "json"', 'adapter = "jsn"', "adapter 'jsn' is not known; there are ['csv', 'json']"),
    ('item = "Item"', 'itme = "Item"', "no field 'itme'; did you mean 'item'?"),
    ('item = "Item"', "item = 5", 'name of a column, a list of names, or {const = "..."} (found 5).'),
    ('volume_unit = "ml"', "", "the field 'volume' is a volume without a unit"),
    ('time = "%Y-%m-%d %H:%M:%S"\n\n', 'time = "%Y-%q"\n\n', "formats.time"),
    ("[venue]", "[mail]\nto = 'me@bar.example'\n[venue]", 'write a list in square brackets, such as ["..."]'),
    ("[venue]", '[mail]\nto = ["ann"]\n[venue]', "mail.to[1]: this is no mail address; write one such as"),
    ("[venue]", '[mail]\nto = ["a@bar.example", "b@bar.example; c@bar.example"]\n[venue]',
     "line 2: mail.to[2]: these are several addresses; put each into quotation marks of its own"),
    ("[venue]", '[mail]\nto = ["jürg@bar.example"]\n[venue]', "only letters without accents"),
    ("[venue]", '[mail]\nsender = "bar at bar.example"\n[venue]', "mail.sender: this is no mail address"),
    ("[venue]", "[[alert]]\nname='x'\nper='day'\n[venue]", "'product_day', 'venue_day', 'two_hours'"),
    ("[venue]", "[files]\nwindow_minutes = 240\n[venue]", "set at most 120, or take the two_hours alert out"),
    ("[venue]", "[schedule]\nissue_at = '12:00'\n[venue]", "issue_at = 12:00 is later than latest_at = 11"),
    ("[venue]", "[schedule]\nheartbeat_url = 'watch.example/7'\n[venue]", "heartbeat_url is no web address"),
    ("[venue]", "[[alert]]\nname='x'\nper='venue_day'\n[venue]", "alert 'x' has no limit, so that any drop"),
    ("[venue]", "[[alert]]\nname='x'\nper='venue_day'\nmin_pct=2\n[[alert]]\nname='x'\nper='product_day'\n"
     "min_pct=3\n[venue]", "two alerts are called 'x'"),
    ("[venue]\n", '[venue]\ncurrency = "EUO"\n', "line 2: currency 'EUO' is no ISO 4217 code; did you mean"),
    ("[venue]", "[venue", "not valid TOML"),
    ("[venue]", "[venue]\nname = 'again'", "not valid TOML"),
])  # fmt: skip
def test_a_wrong_value_in_venue_toml_is_a_sentence(
    venue: VenueFolder, old: str, new: str, said: str
) -> None:
    venue.edit("venue.toml", old, new)
    found = problems(venue)
    assert any(said in text for text in found), found
    assert all(text.startswith(("venue.toml", str(venue.path))) for text in found)


@pytest.mark.parametrize(("name", "old", "new", "said"), [
    ("products.csv", "50 l", "50 pints", "line 2: '50 pints' is not a keg size: unknown unit 'pints'"),
    ("products.csv", "120.00", "-1", "line 2: keg_cost is '-1'; it must not be negative."),
    ("products.csv", "120.00", "120.005", "line 2: keg_cost is '120.005'; the currency has 2 decimals."),
    ("products.csv", "product,", "produkt,", "line 1: column 'produkt' is not known; did you mean"),
    ("menu.csv", "item,product", "item,produce", "line 1: column 'product' is missing."),
    ("menu.csv", "Amber,Amber,16,", "Amber,Amber,sixteen,", "write a number such as 16 or 0.5."),
    ("menu.csv", "Amber,Amber,16,", "Amber,Amber,,", "line 2: portion is missing: how much beer"),
    ("menu.csv", "Amber,Amber,16,", 'Amber,Amber,"16,500",', "write a number such as 16 or 0.5."),
    ("menu.csv", "Amber,Amber,16,", "Amber,Amber,16,5,", "line 2: 5 cells where the header has 4; put"),
    ("menu.csv", "Pint of Stout,", ",", "line 3: item is empty."),
    ("menu.csv", "7.00\n", '7.00\n"Pint,Amber,16,7.00\n', "is a quote left open?"),
    ("menu.csv", "price\n", "unit\n", "line 2: unit '7.00' is not known"),
    ("menu.csv", "item,product,portion,price", "item\tproduct\tportion", "line 1: tabs stand between the"),
    ("taps.csv", "1,M1,Bar,", "1,M1,,", "line 2: outlet is empty."),
    ("taps.csv", "Bar,Amber", "Bar,Ambr", "line 2: product 'Ambr' is not in products.csv; did you"),
    ("taps.csv", "metered\n", "pulses_per_litre\n", "line 2: pulses_per_litre is 'yes'; write a number"),
])  # fmt: skip
def test_a_wrong_cell_is_a_sentence_with_its_line(
    venue: VenueFolder, name: str, old: str, new: str, said: str
) -> None:
    venue.edit(name, old, new)
    found = problems(venue)
    assert any(text.startswith(name) and said in text for text in found), found


@pytest.mark.parametrize(("cell", "said"), [
    ("10/11/2026", "from is '10/11/2026'; write a date such as 2026-10-27 (in a spreadsheet with an apos"),
    ("27/31/2026", "write a date such as 2026-10-27."),
    ("20261027", "write a date such as 2026-10-27."),
    ("2026-13-01", "write a date such as 2026-10-27."),
    ("2026-10-27 6pm", "write 2026-10-27 or 2026-10-27T18:05."),
])
def test_a_date_that_could_be_read_in_two_ways_is_refused(
    venue: VenueFolder, cell: str, said: str
) -> None:
    venue.edit("taps.csv", TAPS, f"tap,outlet,product,from\n1,Bar,Amber,{cell}\n2,Bar,Stout,\n")
    assert said in only_problem(venue)


def test_rows_that_contradict_each_other_are_named_with_both_lines(venue: VenueFolder) -> None:
    taps = "tap,outlet,product,from,to\n1,Bar,Amber,,2025-06-10\n1,Bar,Stout,2025-06-10,\n"
    venue.edit("taps.csv", TAPS, taps)
    venue.edit("menu.csv", "Burger,,,", "Burger,,,\nPint of Amber,Amber,20,7.00")
    venue.edit("products.csv", "Stout,30 l,90.00", "Stout,30 l,90.00\nStout,50 l,90.00")
    assert [text.split(" hold ")[0] for text in problems(venue)] == [
        "products.csv, line 3 and line 4: two rows for product 'Stout'",
        "menu.csv, line 2 and line 5: two rows for 'Pint of Amber'",
        "taps.csv, line 2 and line 3: two rows for tap '1'",
    ]
    venue.edit("taps.csv", "Stout,2025-06-10", "Stout,2025-06-11")
    assert not any(text.startswith("taps.csv") for text in problems(venue))


def with_remarks(text: str) -> str:
    header, *rows = text.splitlines()
    return "\n".join([header, '"# a remark, with a comma"', "", *rows, ",,,"])


def with_decimal_comma(text: str) -> str:
    return "\ufeff" + text.replace(",", ";").replace(".00", ",00")


@pytest.mark.parametrize("form", [
    lambda text: "\ufeff" + text,
    lambda text: text.replace("\n", "\r\n"),
    lambda text: text.replace(",", ";"),
    with_decimal_comma,
    lambda text: "\n".join(line + ",," for line in text.splitlines()),
    with_remarks,
    lambda text: text.replace(text.split("\n")[0], text.split("\n")[0].upper()),
], ids=["BOM", "CRLF", "semicolons", "decimal comma", "empty columns", "remarks", "capitals"])
def test_tables_in_the_dialects_of_spreadsheets_are_the_same_tables(
    venue: VenueFolder, form: object
) -> None:
    plain = load(venue.path)
    for name, text in (("products.csv", PRODUCTS), ("menu.csv", MENU), ("taps.csv", TAPS)):
        (venue.path / name).write_text(form(text), "utf-8", newline="")  # type: ignore[operator]
    other = load(venue.path)
    assert (other.products, other.menu, other.taps) == (plain.products, plain.menu, plain.taps)


@pytest.mark.parametrize("written", ["2025-06-16", "6/16/2025", "16/6/2025", "16.6.2025", "16.06.2025"])
def test_a_date_that_a_spreadsheet_saved_in_its_own_form_is_that_date(
    venue: VenueFolder, written: str
) -> None:
    """Excel saves 2025-06-16 as the PC writes dates (common practice, no source)."""
    (venue.path / "fixes.csv").write_text(f"date,what\n{written},new washers\n", "utf-8")
    assert [fix.day for fix in load(venue.path).fixes] == [date(2025, 6, 16)]


def test_a_decimal_comma_in_quotes_is_one_unless_it_may_divide_thousands(venue: VenueFolder) -> None:
    """What LibreOffice saves on a German PC from a table of commas."""
    venue.edit("products.csv", "Stout,30 l,90.00", 'Stout,"29,5 l","90,5"')
    stout = next(one for one in load(venue.path).products if one.product == "Stout")
    assert (stout.keg_size_ul, stout.keg_cost_minor) == (29_500_000, 9050)
    venue.edit("products.csv", '"90,5"', '"1,090"')
    assert "keg_cost is '1,090'; write a number such as 16 or 0.5" in only_problem(venue)


@pytest.mark.parametrize("written", ["ml", "mL", "ML"])
def test_a_unit_is_read_in_capitals_too(venue: VenueFolder, written: str) -> None:
    """As mails and pages write it."""
    venue.edit("menu.csv", "price\n", "price,unit\n")
    venue.edit("menu.csv", "Pint of Amber,Amber,16,7.00", f"Pint of Amber,Amber,500,7.00,{written}")
    assert {row.portion_ul for row in load(venue.path).menu if row.item == "Pint of Amber"} == {500_000}


def test_a_table_in_another_encoding_names_the_line(venue: VenueFolder) -> None:
    path = venue.path / "menu.csv"
    path.write_bytes(path.read_bytes() + "Café,,,\n".encode("cp1252"))
    assert only_problem(venue).startswith("menu.csv, line 5: byte ")


@pytest.mark.parametrize("name", ["venue.toml", "products.csv", "menu.csv", "taps.csv"])
def test_a_file_that_is_missing_or_a_folder_is_told(venue: VenueFolder, name: str) -> None:
    (venue.path / name).unlink()
    assert f"{venue.path / name} is not there" in problems(venue)[0]
    (venue.path / name).mkdir()
    assert f"{venue.path / name} cannot be read" in problems(venue)[0]


def test_a_venue_without_any_feed_is_refused(venue: VenueFolder) -> None:
    (venue.path / "venue.toml").write_text('[venue]\nname = "x"\ntimezone = "Europe/Berlin"\n')
    assert only_problem(venue) == "venue.toml: feed: this key is missing."


@pytest.mark.parametrize("unit", get_args(VenueUnit))
def test_what_a_keg_change_may_cost_is_about_a_pint_in_every_unit_unless_it_is_set(
    venue: VenueFolder, unit: VenueUnit
) -> None:
    venue.edit("venue.toml", 'volume_unit = "us_fl_oz"', f'volume_unit = "{unit}"')
    allowed = float(load(venue.path).matching.keg_change_allowance * Decimal(float(UNITS_UL[unit])))
    assert 450_000 < allowed < 510_000
    venue.edit("venue.toml", "[venue]", "[matching]\nkeg_change_allowance = 3\n\n[venue]")
    assert load(venue.path).matching.keg_change_allowance == 3


def test_a_row_that_was_copied_by_accident_counts_once_and_check_says_so(venue: VenueFolder) -> None:
    """An item of two equal rows took its beer twice."""
    plain = load(venue.path)
    venue.edit("menu.csv", "Burger,,,\n", "Burger,,,\nPint of Amber,Amber,16,7.00\n")
    assert load(venue.path).menu == plain.menu
    said = "menu.csv, line 5 says the same as line 2; it counts once. Take one out."
    assert said in check_folder(venue.path, ms("06-12 12:00:00"), {}).lines
