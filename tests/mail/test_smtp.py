from __future__ import annotations

import time
from email import message_from_bytes
from pathlib import Path
from typing import Any

import pytest
import trustme

from mail.servers import HOST, Desk, free_port, server_tls, serving, silent
from mail.test_message import made
from unrung.mail.smtp import Outcome, send
from unrung.settings import Mail

pytestmark = pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")

ANN, BOB = "ann@example.org", "bob@example.org"
MESSAGE = (
    b"From: The Corner Tap <bar@example.org>\r\nTo: ann@example.org\r\nSubject: Day\r\n"
    b"Message-ID: <one@example.org>\r\n\r\n.a line that starts with a dot\r\nend\r\n"
)


@pytest.fixture(scope="module")
def ca() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="module")
def ca_file(ca: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("ca") / "ca.pem"
    ca.cert_pem.write_to_path(str(path))
    return str(path)


def to(port: int, **parts: Any) -> Mail:
    plain = {"host": HOST, "port": port, "security": "none", "timeout_seconds": 5}
    return Mail(**{**plain, **parts})


def states(outcomes: dict[str, Outcome]) -> dict[str, str]:
    return {recipient: outcome.state for recipient, outcome in outcomes.items()}


def test_a_plain_server_on_this_machine_takes_the_mail_as_it_is() -> None:
    desk = Desk()
    with serving(desk) as port:
        assert states(send(MESSAGE, to(port), [ANN, BOB], "")) == {ANN: "ok", BOB: "ok"}
    assert desk.taken == [([ANN, BOB], MESSAGE)]


def test_plain_mail_to_another_machine_is_not_even_tried() -> None:
    outcome = send(MESSAGE, to(25, host="mail.example.org"), [ANN], "")[ANN]
    assert outcome.state == "retry" and outcome.slow
    assert "not be encrypted" in outcome.text


@pytest.mark.parametrize("implicit", [False, True])
def test_both_tls_modes_deliver_with_a_trusted_certificate(
    ca: trustme.CA, ca_file: str, implicit: bool
) -> None:
    desk = Desk()
    security = "tls" if implicit else "starttls"
    with serving(desk, tls=server_tls(ca), implicit=implicit) as port:
        outcomes = send(MESSAGE, to(port, security=security, ca_file=ca_file), [ANN], "")
    assert states(outcomes) == {ANN: "ok"}
    assert len(desk.taken) == 1


def test_a_whole_morning_mail_arrives_byte_for_byte(ca: trustme.CA, ca_file: str) -> None:
    desk, message = Desk(), made()
    with serving(desk, tls=server_tls(ca)) as port:
        send(message, to(port, security="starttls", ca_file=ca_file), [ANN], "")
    assert desk.taken == [([ANN], message)]


@pytest.mark.parametrize("implicit", [False, True])
@pytest.mark.parametrize("name", [HOST, "other.example.org"])
def test_an_untrusted_certificate_or_a_wrong_name_stops_the_mail(
    ca: trustme.CA, ca_file: str, implicit: bool, name: str
) -> None:
    """Right name and unknown authority, or known authority and wrong name."""
    desk = Desk()
    trusted = {} if name == HOST else {"ca_file": ca_file}
    security = "tls" if implicit else "starttls"
    with serving(desk, tls=server_tls(ca, name), implicit=implicit) as port:
        outcome = send(MESSAGE, to(port, security=security, **trusted), [ANN], "")[ANN]
    assert outcome.state == "retry" and outcome.slow
    assert "certificate" in outcome.text and "ca_file" in outcome.text
    assert desk.taken == []


def test_a_server_without_starttls_gets_nothing() -> None:
    """So it goes too where somebody on the way strips the offer."""
    desk = Desk()
    with serving(desk) as port:
        outcome = send(MESSAGE, to(port, security="starttls"), [ANN], "")[ANN]
    assert outcome.state == "retry" and outcome.slow
    assert "587 needs starttls, 465 tls" in outcome.text
    assert desk.taken == []


def test_tls_against_a_plain_port_names_the_setting() -> None:
    with serving(Desk()) as port:
        outcome = send(MESSAGE, to(port, security="tls"), [ANN], "")[ANN]
    assert outcome.state == "retry" and outcome.slow
    assert "587 needs starttls, 465 tls" in outcome.text


def test_starttls_against_a_tls_port_names_the_setting(ca: trustme.CA) -> None:
    with serving(Desk(), tls=server_tls(ca), implicit=True) as port:
        mail = to(port, security="starttls", timeout_seconds=0.3)
        outcome = send(MESSAGE, mail, [ANN], "")[ANN]
    assert outcome.state == "retry"
    assert "587 needs starttls, 465 tls" in outcome.text


@pytest.mark.parametrize(
    ("answer", "state"), [("451 greylisted, come again", "retry"), ("550 no such user", "refused")]
)
def test_one_refused_recipient_does_not_keep_the_other_from_the_mail(
    answer: str, state: str
) -> None:
    desk = Desk(refuse={BOB: answer})
    with serving(desk) as port:
        outcomes = send(MESSAGE, to(port), [ANN, BOB], "")
    assert states(outcomes) == {ANN: "ok", BOB: state}
    assert outcomes[BOB].text == answer
    assert desk.taken == [([ANN], MESSAGE)]


@pytest.mark.parametrize(("answer", "state"), [("452 full", "retry"), ("554 no", "refused")])
def test_a_refusal_of_the_data_leaves_each_recipients_own_answer(answer: str, state: str) -> None:
    other = "550 no such user" if state == "retry" else "451 later"
    desk = Desk(refuse={BOB: other}, data=answer)
    with serving(desk) as port:
        outcomes = send(MESSAGE, to(port), [ANN, BOB], "")
    assert (outcomes[ANN].state, outcomes[ANN].text) == (state, answer)
    assert outcomes[BOB].text == other


def test_all_recipients_refused_sends_no_data() -> None:
    desk = Desk(refuse={ANN: "550 no", BOB: "451 later"})
    with serving(desk) as port:
        assert states(send(MESSAGE, to(port), [ANN, BOB], "")) == {ANN: "refused", BOB: "retry"}
    assert desk.taken == []


def test_a_connection_lost_after_the_data_is_tried_again_under_the_same_id() -> None:
    """The server had it all, so the second copy is a double: only the Message-ID tells readers."""
    dropping, taking = Desk(data="drop"), Desk()
    with serving(dropping) as port:
        outcome = send(MESSAGE, to(port), [ANN], "")[ANN]
    with serving(taking) as port:
        assert send(MESSAGE, to(port), [ANN], "")[ANN].state == "ok"
    assert outcome.state == "retry" and "same Message-ID" in outcome.text
    copies = [desk.taken[0][1] for desk in (dropping, taking)]
    assert {message_from_bytes(one)["Message-ID"] for one in copies} == {"<one@example.org>"}


@pytest.mark.parametrize(("given", "state"), [("right", "ok"), ("wrong", "retry")])
def test_a_refused_log_in_says_so_and_is_tried_slowly(given: str, state: str) -> None:
    desk = Desk()
    with serving(desk, password="right") as port:
        outcome = send(MESSAGE, to(port, user="bar"), [ANN], given)[ANN]
    assert outcome.state == state
    if state == "retry":
        assert "log-in refused" in outcome.text and "535" in outcome.text and outcome.slow
        assert "wrong" not in outcome.text, "a password must not reach a message"
    assert len(desk.taken) == (state == "ok")


def test_a_password_that_smtp_cannot_carry_is_an_outcome() -> None:
    with serving(Desk(), password="right") as port:
        outcome = send(MESSAGE, to(port, user="bar"), [ANN], "pässword")[ANN]
    assert outcome.state == "retry" and outcome.slow


def test_a_silent_server_costs_no_more_than_the_timeout() -> None:
    with silent() as port:
        begun = time.monotonic()
        outcome = send(MESSAGE, to(port, timeout_seconds=0.3), [ANN], "")[ANN]
    assert outcome.state == "retry" and "timed out" in outcome.text
    assert time.monotonic() - begun < 2


def test_a_closed_port_is_a_retry() -> None:
    assert send(MESSAGE, to(free_port()), [ANN], "")[ANN].state == "retry"


@pytest.mark.parametrize(
    "address", ["Ann <ann@example.org>\r\nRCPT TO:<x@example.org>", "ännchen@example.org", "ann"]
)
def test_an_address_that_cannot_travel_is_refused_and_the_rest_goes(address: str) -> None:
    desk = Desk()
    with serving(desk) as port:
        outcomes = send(MESSAGE, to(port), [address, BOB], "")
    assert [one for taken, _ in desk.taken for one in taken if "x@" in one] == []
    assert outcomes[BOB].state == "ok"
    assert outcomes[address].state == "refused"


def test_a_ca_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    mail = to(free_port(), security="tls", ca_file=str(tmp_path / "none.pem"))
    outcome = send(MESSAGE, mail, [ANN], "")[ANN]
    assert outcome.slow and "none.pem" in outcome.text
