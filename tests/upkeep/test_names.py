"""Hostile names from the till and the tables, through a real catch-up into mail, page and files."""

from __future__ import annotations

import csv
import email
import io
from collections.abc import Iterator
from email.message import EmailMessage
from email.policy import default
from html.parser import HTMLParser
from typing import cast

import openpyxl
import pytest

from unrung.mail.sink import sink
from venue_folder import VenueFolder, make_venue, pour, ring

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=HYPERLINK(A1)"
BCC = "Amber Pint\r\nBcc: all@elsewhere.example"
MAIL = """[mail]
host = "127.0.0.1"
port = {port}
security = "none"
sender = "bar@jug.example"
to = ["manager@jug.example"]
[[alert]]
name = "product_day"
per = "product_day"
min_pct = 3
min_volume = 8
hold_days = 0
"""
Found = tuple[VenueFolder, EmailMessage]


class Tags(HTMLParser):
    """The elements of a page, as a browser takes them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.names.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def caught_up(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Found]:
    """A day on which two hostile products were poured and not rung, and a hostile item was rung."""
    with sink() as server:
        venue = make_venue(tmp_path_factory.mktemp("names") / "v", more=MAIL.format(port=server.port))
        for table in ("products.csv", "menu.csv", "taps.csv"):
            path = venue.path / table
            text = path.read_text("utf-8").replace("Amber", SCRIPT).replace("Stout", FORMULA)
            path.write_text(text, "utf-8")
        venue.edit("venue.toml", 'name = "The Test Jug"', 'name = "Jug\\r\\nBcc: more@elsewhere.example"')
        rings = [ring(f"20:{minute}:20", f"Pint of {SCRIPT}") for minute in (10, 20, 30)]
        venue.rings("till.csv", [*rings, ring("20:35:00", BCC), ring("20:36:00", FORMULA)])
        pours = [pour(f"{tap}{minute}", f"20:{minute}:00", tap=tap)
                 for tap in ("1", "2") for minute in (10, 20, 30, 40, 50)]
        venue.pours("meter.json", pours)
        done = venue.catch_up("06-11 11:30:00")
        assert done.mails >= 1 and len(done.issued) == 1
        (received, *_) = server.received
    assert received.recipients == ("manager@jug.example",)
    yield venue, cast(EmailMessage, email.message_from_bytes(received.content, policy=default))


def body(mail: EmailMessage, kind: str) -> str:
    part = mail.get_body((kind,))
    assert part is not None
    return str(part.get_content())


def test_no_name_adds_a_header_or_a_recipient(caught_up: Found) -> None:
    _, mail = caught_up
    assert mail["Bcc"] is None and mail["To"] == "manager@jug.example"
    assert not mail.defects and "\n" not in mail["Subject"] and "\r" not in mail["Subject"]


def test_the_mail_shows_the_name_and_runs_nothing(caught_up: Found) -> None:
    _, mail = caught_up
    page = Tags(body(mail, "html"))
    assert "script" not in page.names
    assert SCRIPT in page.text, "the name is shown as it is written"
    assert SCRIPT in body(mail, "plain")


def test_the_page_shows_the_name_and_runs_nothing(caught_up: Found) -> None:
    venue, _ = caught_up
    (name,) = (name for name in venue.files() if name.endswith(".html"))
    text = venue.files()[name].decode("utf-8")
    assert SCRIPT not in text and SCRIPT in Tags(text).text


def cells(venue: VenueFolder) -> Iterator[tuple[str, str]]:
    """File and cell, of every issued CSV."""
    for name, content in venue.files().items():
        if name.endswith(".csv"):
            for row in csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")):
                yield from ((name, cell) for cell in row)


def test_no_cell_of_text_starts_a_formula(caught_up: Found) -> None:
    venue, _ = caught_up
    found = list(cells(venue))
    risky = [(name, cell) for name, cell in found if cell[:1] in ("=", "+", "@", "\t", "\r")]
    risky += [(name, cell) for name, cell in found if cell[:1] == "-" and not cell[1:2].isdigit()]
    assert risky == []
    assert any(cell == f"'{FORMULA}" for _, cell in found), "it is there, and guarded"


@pytest.mark.usefixtures("one_by_one")
def test_the_workbook_of_a_month_holds_text_and_no_formula_of_a_name(caught_up: Found) -> None:
    venue, _ = caught_up
    venue.rings("july.csv", [ring("07-01 20:00:00", "Burger")], "07-01 23:00:00")
    venue.catch_up("07-02 12:00:00")
    books = [name for name in venue.files() if name.endswith(".xlsx")]
    assert books
    for name in books:
        book = openpyxl.load_workbook(io.BytesIO(venue.files()[name]))
        found = [cell for sheet in book for row in sheet.iter_rows() for cell in row
                 if isinstance(cell.value, str) and "HYPERLINK" in cell.value]
        assert found and all(cell.data_type == "s" for cell in found)
