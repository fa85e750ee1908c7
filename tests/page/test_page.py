"""The day's page: whole by itself, safe against names, the same twice, and it foots."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

from alerts.days import at, ledger_of, venue_settings
from unrung.ledger.results import DayLedger, FindingRow, Leaf, Lone, Volumes
from unrung.page.charts import WIDTH, segments
from unrung.page.render import page_bytes
from unrung.page.view import page_view

VOID = {"meta", "link", "br", "img", "input", "hr"}


class Shape(HTMLParser):
    """Notes tags that are left open or closed in the wrong order, and what is referred to."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("href", "src")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)


def day() -> DayLedger:
    full = Volumes(matched_portion=9_000_000, over_portion=300_000, under_portion=40_000, logged=473_000,
                   poured_not_rung=1_419_000, rung_not_poured=473_000, not_beer=250_000)
    quiet = Volumes(matched_portion=2_000_000, poured_not_compared=100_000)
    lone = tuple(
        Lone("pour", "Bar", "Stout", "T1", at(20) + n * 60_000, 473_000, n == 2, "meters", "m.json", n, "")
        for n in range(3)
    )
    ledger = ledger_of(Leaf(at(20), 60, "Bar", "Stout", full), Leaf(at(21), 60, "Bar", "Mild", quiet))
    return replace(ledger, lone=lone, notices=("The meters name 'X9'.",))


def page(ledger: DayLedger | None = None) -> str:
    return page_bytes(ledger or day(), venue_settings(), 3).decode()


def cause(text: str, volume_ul: int = 473_000) -> FindingRow:
    return FindingRow("top_ups", text, text, "", volume_ul, "high", text, text, headline=text)


def test_the_page_is_well_formed_and_needs_nothing_else() -> None:
    shape = Shape()
    shape.feed(page())
    assert (shape.open, shape.wrong) == ([], [])
    assert "script" not in shape.tags and "img" not in shape.tags and "link" not in shape.tags
    assert all(link.startswith("#") for link in shape.links)
    assert not re.search(r"https?://|@import|url\((?!#)", page())


def test_the_ledgers_picture_adds_up_to_what_was_poured() -> None:
    view = page_view(day(), venue_settings(), 1)
    numbers = [int(figure.replace(",", "")) for _, figure in view.equation]
    assert sum(numbers[:-1]) == numbers[-1]
    rung = [int(figure.replace(",", "")) for _, figure in view.rung_equation]
    assert sum(rung[:-1]) == rung[-1]
    assert sum(int(part.volume.replace(",", "")) for part in view.poured_parts) == numbers[-1]


def test_parts_of_a_bar_touch_and_fill_its_width() -> None:
    boxes = segments([60, 0, 30, 10], 100)
    assert sum(box.width for box in boxes) == WIDTH - 2
    assert all(abs(a.x + a.width - b.x) < 0.11 for a, b in itertools.pairwise(boxes))


def test_names_from_an_export_cannot_break_the_page() -> None:
    evil = '"><script>alert(1)</script>'
    ledger = ledger_of(Leaf(at(20), 60, evil, evil, Volumes(poured_not_rung=1_000_000)))
    found = page(replace(ledger, findings=(cause(evil),)))
    assert "<script" not in found and "&lt;script&gt;" in found


def test_the_same_day_gives_the_same_bytes_and_says_no_time_of_making() -> None:
    assert page() == page()
    assert "Revision 3" in page()


def test_a_day_without_anything_and_a_missing_feed_still_make_a_page() -> None:
    empty = replace(ledger_of(), missing=("no sales from 'till' for Fri, Oct 30",), status="incomplete")
    assert "Missing: no sales from" in page(empty)
    german = replace(empty, missing=("no sales from 'till' for Mo., 9. Nov.",))
    assert "for Mo., 9. Nov.</p>" in page(german)
    assert "a feed does not cover the day" in page(empty)


def test_an_uncertain_pour_says_so_and_charts_have_words_for_who_cannot_see_them() -> None:
    found = page()
    assert "another pour is as likely" in found
    assert found.count('role="img"') == found.count("aria-label=\"Poured:") + found.count(
        "aria-label=\"Rung:") + found.count("by time:")


def test_findings_stand_on_the_page_the_largest_first() -> None:
    found = page(replace(day(), findings=(cause("Small thing", 100_000), cause("Large thing", 900_000))))
    assert found.index("Large thing") < found.index("Small thing")
    assert "Confidence: high." in found and "Check first:" in found


def test_a_bar_that_counts_in_litres_sees_tenths_in_its_own_way_of_writing() -> None:
    """Glasses in hundredths; every sum in tenths that foot; nowhere another unit."""
    settings = venue_settings(venue={"volume_unit": "l", "locale": "de_DE", "currency": "EUR"})
    view = page_view(day(), settings, 1)
    figures = [float(figure.replace(".", "").replace(",", ".")) for _, figure in view.equation]
    assert round(sum(figures[:-1]), 1) == figures[-1] == 13.5
    assert [one.volume for one in view.evenings[0].singles] == ["0,47\u00a0L"] * 3
    found = page_bytes(day(), settings, 1).decode()
    assert "Freitag, 30. Oktober 2026" in found and " PM" not in found
    assert "oz" not in found.replace("Wozu", "") and "13,5" in found and "13.5" not in found


def test_a_share_is_rounded_once() -> None:
    """0.4468 % is 0.4 %, though the files, which give two digits, say 0.45."""
    volumes = Volumes(matched_portion=995_532, poured_not_rung=4_468)
    view = page_view(ledger_of(Leaf(at(20), 60, "Bar", "Stout", volumes)), venue_settings(), 1)
    assert "(0.4%) poured without a ring" in view.headline
    assert view.total[-1] == "0.4%"
