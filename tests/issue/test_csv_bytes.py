"""CSV as RFC 4180 has it, and safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from issue.ledgers import DAY, HOSTILE, lone, read, settings, small_day
from unrung.file_settings import Files
from unrung.issue.csv_bytes import csv_bytes, guarded, with_column
from unrung.issue.daily import daily_files
from unrung.issue.table import Table, number, text

texts = st.text(st.characters(codec="utf-8"))


def table(*rows: tuple[str, Decimal]) -> Table:
    columns = (text("name", ""), number("amount", ""))
    return Table("t", "", columns, [{"name": name, "amount": amount} for name, amount in rows])


@given(st.lists(texts, min_size=1), st.sampled_from(",;"))
def test_any_text_comes_back_through_another_reader(names: list[str], delimiter: str) -> None:
    """RFC 4180, section 2, rules 5 to 7: quotes round delimiters and line breaks, doubled within."""
    files = Files.model_validate({"csv_delimiter": delimiter})
    content = csv_bytes(table(*((name, Decimal("1.5")) for name in names)), files)
    assert [row["name"] for row in read(content, delimiter)] == [guarded(name) for name in names]


@given(st.lists(texts, min_size=1), st.sampled_from(",;"), st.booleans())
def test_another_cell_in_every_row_is_as_if_it_had_been_there(
    names: list[str], delimiter: str, bom: bool
) -> None:
    files = Files.model_validate({"csv_delimiter": delimiter, "csv_bom": bom})
    one, other = (
        csv_bytes(table(*((name, amount) for name in names)), files)
        for amount in (Decimal("1.5"), Decimal(-2))
    )
    assert with_column(one, "amount", Decimal(-2), files) == other


@given(st.lists(texts, min_size=1))
def test_lines_end_in_crlf_and_hold_the_same_number_of_fields(names: list[str]) -> None:
    """RFC 4180, section 2, rules 1 and 4; line ends within quotes belong to the field."""
    content = csv_bytes(table(*((name, Decimal(0)) for name in names)), Files(csv_bom=False))
    bare = re.sub(r'"(?:[^"]|"")*"', "", content.decode())
    lines = bare.split("\r\n")
    assert lines.pop() == ""
    assert len(lines) == len(names) + 1
    assert all(line.count(",") == 1 and "\n" not in line and "\r" not in line for line in lines)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\0", "\r", "\n"])
def test_text_that_would_start_a_formula_is_guarded(start: str) -> None:
    """OWASP ASVS 5.0, requirement 1.2.10 (= + - @ TAB NUL), CWE-1236; CR and LF on top."""
    [row] = read(csv_bytes(table((start + "1+1", Decimal(1))), Files()))
    assert row["name"] == "'" + start + "1+1"


@pytest.mark.parametrize("name", ["  =1+1", "\u00a0@x", "\u3000-2"])
def test_a_formula_behind_blanks_is_guarded_too(name: str) -> None:
    assert guarded(name) == "'" + name


@given(texts)
def test_no_cell_of_text_starts_a_formula_even_behind_blanks(name: str) -> None:
    [row] = read(csv_bytes(table((name, Decimal(1))), Files()))
    assert not row["name"].lstrip().startswith(("=", "+", "-", "@", "\t", "\0", "\r", "\n"))
    assert row["name"] in (name, "'" + name)


def test_a_negative_number_stays_a_number() -> None:
    [row] = read(csv_bytes(table(("a", Decimal("-3.200"))), Files()))
    assert row["amount"] == "-3.200"


def test_a_large_or_small_number_is_never_written_with_an_exponent() -> None:
    rows = read(csv_bytes(table(("a", Decimal("1E+3")), ("b", Decimal("1E-6"))), Files()))
    assert [row["amount"] for row in rows] == ["1000", "0.000001"]


def test_hostile_names_are_guarded_in_every_column_of_text() -> None:
    rows = tuple(
        lone(name, tap=name, source_file=name, source_id=name, outlet=name) for name in HOSTILE
    )
    files = daily_files(small_day(lone=rows), settings(), 1)
    for row in read(files[f"unmatched-{DAY}.csv"]):
        for column in ("outlet", "product", "tap", "source_file", "source_id"):
            assert row[column] in map(guarded, HOSTILE)


def test_the_file_starts_with_the_utf8_mark_unless_the_venue_says_not_and_never_with_sep() -> None:
    one = table(("Kölsch", Decimal(1)))
    assert csv_bytes(one, Files()).startswith(b"\xef\xbb\xbfname,")
    assert csv_bytes(one, Files(csv_bom=False)) == "name,amount\r\nKölsch,1\r\n".encode()


@pytest.mark.parametrize(
    ("files", "line"),
    [
        (Files(csv_delimiter=";"), "a;16,000"),
        (Files(csv_delimiter=";", csv_decimal="."), "a;16.000"),
        (Files(csv_decimal=","), 'a,"16,000"'),
        (Files(), "a,16.000"),
    ],
)
def test_the_decimal_mark_goes_with_the_delimiter(files: Files, line: str) -> None:
    """A spreadsheet that splits at ";" takes 16.000 for sixteen thousand (common practice)."""
    assert csv_bytes(table(("a", Decimal("16.000"))), files).decode().splitlines()[1] == line


def test_a_lone_surrogate_does_not_keep_the_file_from_being_written() -> None:
    assert read(csv_bytes(table(("a\ud800b", Decimal(1))), Files()))[0]["name"] == "a?b"


def test_pandas_reads_the_variance_file_with_numbers_as_numbers() -> None:
    content = daily_files(small_day(), settings(), 1)[f"variance-{DAY}.csv"]
    import pandas as pd  # type: ignore[import-untyped]

    frame = pd.read_csv(io.BytesIO(content))
    assert frame.columns[0] == "business_day"
    words = {"business_day", "outlet", "product", "unit", "status"}
    assert set(frame.select_dtypes("number").columns) == set(frame.columns) - words


def test_a_row_that_lacks_a_column_is_an_error() -> None:
    with pytest.raises(KeyError):
        csv_bytes(Table("t", "", (text("name", ""),), [{}]), Files())


def test_the_header_is_the_first_record() -> None:
    content = csv_bytes(table(), Files(csv_bom=False))
    assert next(csv.reader([content.decode()])) == ["name", "amount"]
