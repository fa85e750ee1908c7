from __future__ import annotations

import re
from datetime import UTC, datetime
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from alerts.days import venue_settings
from mail.samples import busy_day, mail_of
from unrung.errors import DeliveryError
from unrung.mail.message import Attachment, as_message, stable_message_id
from unrung.mail.preview import html_of
from unrung.mail.render import Composed
from unrung.settings import Mail, Settings

DATE = datetime(2026, 10, 31, 10, 0, tzinfo=UTC)
CSV = Attachment("variance-2026-10-30.csv", 'product,poured\r\n"Bière, brune",1\r\n'.encode())


def bar(sender: str = "bar@example.org", name: str = "The Corner Tap") -> Settings:
    return venue_settings(mail=Mail(sender=sender), venue={"name": name})


def made(composed: Composed | None = None, **parts: object) -> bytes:
    arguments: dict[str, object] = {
        "composed": composed or mail_of(busy_day()), "settings": bar(),
        "to": ("Ann <ann@example.org>", "bob@example.org"),
        "message_id": stable_message_id("morning 2026-10-30", "bar@example.org"), "date": DATE,
        "attachments": (CSV,),
    }
    return as_message(**{**arguments, **parts})  # type: ignore[arg-type]


def parsed(message: bytes) -> EmailMessage:
    found = message_from_bytes(message, policy=default)
    assert isinstance(found, EmailMessage)
    return found


def text_of(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    assert body is not None
    return str(body.get_content()).replace("\r\n", "\n")


def test_headers_are_those_of_unattended_mail() -> None:
    """RFC 3834, section 5: Auto-Submitted; RFC 5322, section 3.6: each at most once."""
    mail = parsed(made())
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["X-Auto-Response-Suppress"] == "All"
    assert mail["From"] == "The Corner Tap <bar@example.org>"
    assert mail["To"] == "Ann <ann@example.org>, bob@example.org"
    assert mail["Date"] == "Sat, 31 Oct 2026 10:00:00 +0000"
    assert len(mail.keys()) == len(set(mail.keys()))


def test_the_message_id_has_the_form_of_rfc_5322() -> None:
    """Section 3.6.4: "<" dot-atom-text "@" dot-atom-text ">"."""
    atom = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*"
    for sender in ("bar@example.org", "The Bar <bar@mail.example.org>", ""):
        assert re.fullmatch(f"<{atom}@{atom}>", stable_message_id("morning 2026-10-30", sender))
    assert stable_message_id("a", "x@y.org") != stable_message_id("b", "x@y.org")


def test_text_and_html_are_alternatives_and_the_day_is_attached() -> None:
    composed = mail_of(busy_day())
    mail = parsed(made(composed))
    kinds = [part.get_content_type() for part in mail.walk()]
    assert kinds == ["multipart/mixed", "multipart/alternative", "text/plain", "text/html",
                     "text/csv"]
    assert text_of(mail) == composed.text
    assert html_of(made(composed)) == composed.html
    (csv,) = mail.iter_attachments()
    assert csv.get_payload(decode=True) == CSV.content
    assert (csv.get_filename(), csv.get_content_charset()) == (CSV.name, "utf-8")


@pytest.mark.parametrize("name", ["Stout", "Märzen " * 40, "x" * 1200, "麦酒" * 300])
def test_lines_keep_to_rfc_5322(name: str) -> None:
    """Section 2.1.1: at most 998 characters must, 78 should hold; lines end in CRLF."""
    composed = Composed(name, (name + " ") * 9 + "\n", f"<p>{name * 3}</p>\n")
    message = made(composed)
    assert message.isascii()
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", message)
    assert max(len(line) for line in message.split(b"\r\n")) <= 78


def test_the_same_mail_has_the_same_bytes() -> None:
    assert made() == made()
    assert made() != made(message_id="<other@example.org>")


@pytest.mark.parametrize("name", ["a\r\nBcc: all@example.org", "a\nX: y", "<script>", "\x00a"])
def test_names_from_an_export_add_no_header(name: str) -> None:
    mail = parsed(made(mail_of(busy_day(name, name)), settings=bar(name=name)))
    assert set(mail.keys()) == {
        "From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted",
        "X-Auto-Response-Suppress", "MIME-Version", "Content-Type",
    }
    assert mail["From"].addresses[0].addr_spec == "bar@example.org"


@hypothesis_settings(max_examples=60, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40))
def test_any_product_name_survives_the_way(name: str) -> None:
    composed = mail_of(busy_day(product=name))
    mail = parsed(made(composed, settings=bar(name=name)))
    assert mail["Subject"] == composed.subject.strip()
    assert mail.defects == []
    assert text_of(mail) == composed.text


@pytest.mark.parametrize(
    "address", ["", "bar", "a@b\r\nBcc: x@y", "bär@example.org", "a b@example.org", "@", "<>"]
)
def test_an_unusable_address_is_a_clear_permanent_error(address: str) -> None:
    with pytest.raises(DeliveryError, match=r"write name@example\.org") as caught:
        made(to=(address,))
    assert caught.value.permanent


def test_a_sender_with_a_name_keeps_it() -> None:
    mail = parsed(made(settings=bar("Bücher & Bier <bar@example.org>")))
    assert mail["From"].addresses[0].display_name == "Bücher & Bier"
