from __future__ import annotations

import json
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from alerts.days import venue_settings
from mail.samples import LEARNT, busy_day, mail_of, quiet_day, till_missing
from unrung.alerts.rules import judge_day
from unrung.mail.compose import threshold_mail, trial_mail

VOID = {"meta", "br"}
# Clients that must show the mail as meant; "partly" counts, its limits do not touch what we use.
SUPPORT = json.loads((Path(__file__).parent / "data" / "mail_client_support.json").read_text())
SAME = {"border-top": "border", "border-left": "border", "font-family": "font"}


class Node(NamedTuple):
    tag: str
    attributes: dict[str, str]
    style: dict[str, str]
    parents: tuple[Node, ...]
    text: list[str]


class Reader(HTMLParser):
    """Elements with their parents; complains about a tag that closes another."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.nodes: list[Node] = []
        self.stack: list[Node] = []
        self.feed(html)
        self.close()
        assert self.stack == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = {name: value or "" for name, value in attrs}
        pairs = [part.partition(":") for part in attributes.get("style", "").split(";") if ":" in part]
        style = {name.strip(): value.strip() for name, _, value in pairs}
        node = Node(tag, attributes, style, tuple(self.stack), [])
        self.nodes.append(node)
        if tag not in VOID:
            self.stack.append(node)

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop().tag == tag

    def handle_data(self, data: str) -> None:
        if self.stack and data.strip():
            self.stack[-1].text.append(data.strip())


@cache
def every_mail() -> tuple[str, ...]:
    settings = venue_settings()
    raised = judge_day(busy_day(), settings, LEARNT)
    mails = [mail_of(busy_day()), mail_of(quiet_day()), mail_of(till_missing()),
             threshold_mail(busy_day(), raised, settings), trial_mail(settings)]
    return tuple(mail.html for mail in mails)


def every_node() -> list[Node]:
    return [node for html in every_mail() for node in Reader(html).nodes]


def test_nothing_is_used_that_mail_programs_drop_or_block() -> None:
    for html in every_mail():
        found = re.findall(
            r"<svg|<img|<script|<link|<iframe|<form|flex|grid|@import|url\(|https?:|src=|href=|"
            r"data:|position|float|onload", html,
        )
        assert found == []


def unsupported(nodes: list[Node]) -> set[str]:
    """Features that one of the clients does not support at all (npm caniemail 2.0.2, MIT)."""
    missing = set()
    for node in nodes:
        for name, value in node.style.items():
            known = SAME.get(name, name)
            for slug in (f"css-{known}", f"css-{known}-{value}"):
                if "n" in SUPPORT["features"].get(slug, ""):
                    missing.add(slug)
        for slug in (f"html-{node.tag}", *(f"html-{name}" for name in node.attributes)):
            if "n" in SUPPORT["features"].get(slug, ""):
                missing.add(slug)
    return missing


def test_what_carries_meaning_is_supported_by_the_usual_mail_programs() -> None:
    """One client reads a bar aloud as a blank, and does not break a name of 40 letters without a
    blank; nothing else is missed."""
    assert unsupported(every_node()) <= {"html-aria-hidden", "css-word-break"}


@pytest.mark.parametrize(
    "html", ['<p style="display: flex">x</p>', '<p style="position: absolute">x</p>', "<svg></svg>"]
)
def test_the_support_check_would_find_what_outlook_drops(html: str) -> None:
    assert unsupported(Reader(html).nodes)


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.1: black on white is 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def inherited(node: Node, name: str) -> str:
    for one in (node, *reversed(node.parents)):
        if name in one.style:
            return one.style[name]
    raise AssertionError(f"{node.tag}: no {name}")


def test_text_stands_out_from_its_ground() -> None:
    """WCAG 2.1, success criterion 1.4.3 (AA): at least 4.5 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    said = [node for node in every_node() if node.text and node.tag not in ("title", "style")]
    for node in said:
        ratio = contrast(inherited(node, "color"), inherited(node, "background-color"))
        assert ratio >= 4.5, (node.tag, node.text)
    assert len(said) > 80


def dark_colours(html: str) -> dict[str, dict[str, str]]:
    """Class to its colours in the dark block."""
    found: dict[str, dict[str, str]] = {}
    for classes, body in re.findall(r"^(\.[^{]+)\{([^}]*)\}", html, re.M):
        for name in re.findall(r"\.(\w+)", classes):
            for part in body.replace(" !important", "").split(";"):
                key, _, value = part.partition(":")
                if value:
                    found.setdefault(name, {})[key.strip()] = value.strip()
    return found


def dark(node: Node, name: str, colours: dict[str, dict[str, str]]) -> str:
    for one in (node, *reversed(node.parents)):
        for word in one.attributes.get("class", "").split():
            if name in colours.get(word, {}):
                return colours[word][name]
        if name in one.style:
            return one.style[name]
    raise AssertionError(f"{node.tag}: no {name}")


def test_text_stands_out_in_dark_mode_too() -> None:
    colours = dark_colours(every_mail()[0])
    assert set(colours) == {"page", "paper", "ink", "soft", "lead", "bar"}
    for node in every_node():
        if node.text and node.tag not in ("title", "style"):
            pair = [dark(node, name, colours) for name in ("color", "background-color")]
            assert contrast(pair[0], pair[1]) >= 4.5, (node.tag, node.text, pair)


def test_layout_tables_are_marked_and_the_data_table_has_headers() -> None:
    tables = [node for node in every_node() if node.tag == "table"]
    data = [node for node in tables if node.attributes.get("role") != "presentation"]
    assert len(data) == 1 and len(tables) > 8
    scopes = [node.attributes["scope"] for node in Reader(every_mail()[0]).nodes if node.tag == "th"]
    assert scopes == ["col"] * 5 + ["rowgroup"] * 5


def test_nothing_is_wider_than_a_small_phone() -> None:
    for node in every_node():
        width = node.attributes.get("width", "")
        if width.isdigit() and int(width) > 320:
            assert node.style["width"] == "100%", node
        assert not re.search(r"\d{3,}px", node.style.get("width", "")), node
        assert node.style.get("white-space", "") != "nowrap"


def test_the_mail_stays_below_the_size_at_which_clients_cut_it() -> None:
    """About 102 kB (from memory, a large web client clips longer mails)."""
    assert max(len(html.encode()) for html in every_mail()) < 60_000


HOSTILE = ["<script>alert(1)</script>", "a\"b'c&d", "{{ 7*7 }}", "</td></table>", "<img src=x>"]


@pytest.mark.parametrize("name", HOSTILE)
def test_names_from_an_export_are_only_text(name: str) -> None:
    """As many elements as with a harmless name, and the name itself to be read."""
    plain = mail_of(busy_day("Stout", "Bar"), venue_settings(venue={"name": "Bar"}))
    html = mail_of(busy_day(name, name), venue_settings(venue={"name": name})).html
    nodes = Reader(html).nodes
    assert [node.tag for node in nodes] == [node.tag for node in Reader(plain.html).nodes]
    assert any(name in text for node in nodes for text in node.text)


def test_text_and_html_tell_the_same_figures() -> None:
    mail = mail_of(busy_day())
    cells: list[Any] = [node.text[0] for node in Reader(mail.html).nodes if node.tag == "td"
                        and node.attributes.get("align") == "right"]
    assert len(cells) == 25
    assert [cell for cell in cells if cell.replace("\u00a0", " ") not in mail.text] == []
