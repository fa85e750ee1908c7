from __future__ import annotations

import smtplib
import socket

import pytest

from mail.test_smtp import MESSAGE, to
from unrung.mail.sink import sink
from unrung.mail.smtp import send


def test_what_is_sent_arrives_unchanged() -> None:
    with sink() as running:
        outcomes = send(MESSAGE, to(running.port), ["a@example.org", "b@example.org"], "")
    assert {one.state for one in outcomes.values()} == {"ok"}
    (mail,) = running.received
    assert mail.content == MESSAGE
    assert (mail.sender, mail.recipients) == ("bar@example.org", ("a@example.org", "b@example.org"))


def test_the_sink_listens_on_this_machine_only() -> None:
    with sink() as running:
        assert running.host == "127.0.0.1"


def test_one_session_can_carry_several_mails() -> None:
    with sink() as running, smtplib.SMTP(running.host, running.port) as client:
        for number in range(3):
            client.sendmail("", [f"{number}@example.org"], b"Subject: x\r\n\r\n..dots\r\n.\r\n")
    assert [mail.recipients[0][0] for mail in running.received] == ["0", "1", "2"]
    assert running.received[0].content == b"Subject: x\r\n\r\n..dots\r\n.\r\n"


@pytest.mark.parametrize(
    ("commands", "codes"),
    [
        (["NOOP", "RSET", "noop"], [250, 250, 250]),
        (["RCPT TO:<a@b>", "DATA"], [503, 503]),
        (["MAIL FROM:<>", "MAIL FROM:<x@y>", "DATA"], [250, 503, 503]),
        (["MAIL FROM:<>", "RSET", "MAIL FROM:<x@y> SIZE=10", "RCPT TO:<a@b>"], [250] * 4),
        (["MAIL from x", "MAIL FROM:x", "MAIL FROM:<x>", "RCPT TO:<>"], [501, 501, 250, 501]),
        (["TURN", "EXPN list"], [500, 500]),
    ],
)
def test_commands_are_answered_in_the_order_of_rfc_5321(
    commands: list[str], codes: list[int]
) -> None:
    with sink() as running, smtplib.SMTP(running.host, running.port) as client:
        client.ehlo()
        assert [client.docmd(one)[0] for one in commands] == codes
    assert running.received == []


def test_a_mail_cut_off_in_the_middle_is_not_kept() -> None:
    with sink() as running:
        with socket.create_connection((running.host, running.port)) as raw:
            raw.sendall(b"EHLO x\r\nMAIL FROM:<a@b>\r\nRCPT TO:<c@d>\r\nDATA\r\nSubject: half")
        with smtplib.SMTP(running.host, running.port) as client:
            assert client.noop()[0] == 250
    assert running.received == []


def test_an_endless_command_line_ends_the_session() -> None:
    with sink() as running, socket.create_connection((running.host, running.port)) as raw:
        raw.sendall(b"X" * 5000)
        raw.shutdown(socket.SHUT_WR)
        said = b"".join(iter(lambda: raw.recv(4096), b""))
    assert b"500 line too long" in said
