from __future__ import annotations

from pathlib import Path

from mail.samples import busy_day, mail_of
from mail.test_message import made
from unrung.mail.preview import html_of, save


def test_a_message_is_saved_as_it_is_and_as_a_page(tmp_path: Path) -> None:
    composed = mail_of(busy_day())
    eml, page = save(made(composed), tmp_path / "mails", "morning-2026-10-30")
    assert eml.read_bytes() == made(composed)
    assert page.read_text("utf-8") == composed.html


def test_a_message_without_html_makes_an_empty_page() -> None:
    assert html_of(b"Subject: x\r\n\r\nplain\r\n") == ""
