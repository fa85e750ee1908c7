"""Certificates that are out of their time, of a polled address and of a mail server."""

from __future__ import annotations

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme

from mail.servers import Desk
from mail.servers import serving as mail_serving
from polling.bar import ask, polled_bar, rows_reply, sale
from polling.server import HOST, serving
from unrung.mail.smtp import greet
from unrung.settings import Mail

CA_FILE = 'ca_file = "ca.pem"'
SPANS = {"expired": (-20, -2), "not begun": (2, 20)}
"""Days from now between which a certificate holds."""


def context(folder: Path, span: str) -> ssl.SSLContext:
    """A server's, of an authority that is trusted."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "ca.pem"))
    first, last = (datetime.now(UTC) + timedelta(days=days) for days in SPANS[span])
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(HOST, not_before=first, not_after=last).configure_cert(made)
    return made


@pytest.mark.parametrize("span", SPANS)
def test_an_expired_certificate_is_refused_and_told(tmp_path: Path, span: str) -> None:
    tls = context(tmp_path, span)
    with serving(lambda asked: rows_reply([sale("a", "19:00:00")]), tls) as server:
        problem = ask(polled_bar(tmp_path, server.url, CA_FILE)).problem
        assert server.asked == []
    assert "the certificate of 127.0.0.1 is out of its time" in problem and "clock is wrong" in problem
    assert "ca_file" not in problem


@pytest.mark.parametrize("span", SPANS)
def test_a_mail_server_s_expired_certificate_is_told_too(tmp_path: Path, span: str) -> None:
    tls = context(tmp_path, span)
    with mail_serving(Desk(), tls=tls) as port:
        mail = Mail(host=HOST, port=port, security="starttls", ca_file=str(tmp_path / "ca.pem"))
        outcome = greet(mail, "")
    assert outcome.state == "retry" and "is out of its time" in outcome.text
