"""Redirects are followed by hand, and the secret goes to the feed's own origin only (RFC 6454)."""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from pathlib import Path

import pytest
import trustme

from polling.bar import ask, polled_bar, rows_reply, sale, taken_ids
from polling.server import HOST, Asked, Reply, serving

CANARY = "canary-3b1f"
ENVIRON = {"TILL_SECRET": CANARY}
GOOD = rows_reply([sale("a", "19:00:00")])
LOGINS = {
    "basic": 'auth = "basic"\nuser = "bar"\nsecret_env = "TILL_SECRET"',
    "bearer": 'auth = "bearer"\nsecret_env = "TILL_SECRET"',
    "header": 'auth = "header"\nauth_name = "X-Till-Key"\nsecret_env = "TILL_SECRET"',
    "query": 'auth = "query"\nauth_name = "key"\nsecret_env = "TILL_SECRET"',
}


def told(asked: Asked) -> str:
    """All that a server learns from a request."""
    return f"{asked.path} {asked.query} {asked.headers}"


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
@pytest.mark.parametrize("login", LOGINS)
def test_a_redirect_within_the_host_takes_the_secret_along(tmp_path: Path, status: int, login: str) -> None:
    def play(asked: Asked) -> Reply:
        return GOOD if asked.path == "/new" else Reply(status=status, headers={"Location": "/new?x=1"})

    with serving(play) as server:
        venue = polled_bar(tmp_path, server.url, LOGINS[login])
        assert ask(venue, environ=ENVIRON).problem == ""
        last = server.asked[-1]
    assert last.query["x"] == "1"
    proof = {"basic": "authorization", "bearer": "authorization", "header": "x-till-key"}
    assert CANARY in last.query.get("key", "") if login == "query" else proof[login] in last.headers
    assert taken_ids(venue) == ["a"]


@pytest.mark.parametrize("login", LOGINS)
@pytest.mark.parametrize("elsewhere", ["another port", "another name"])
def test_no_secret_follows_to_another_host(tmp_path: Path, login: str, elsewhere: str) -> None:
    with serving(lambda asked: Reply(b"no", 401)) as other:
        port = other.url.rpartition(":")[2]
        place = other.url if elsewhere == "another port" else f"http://localhost:{port}"
        with serving(lambda asked: Reply(status=302, headers={"Location": f"{place}/in"})) as server:
            poll = LOGINS[login] + '\nheaders = {X-Venue = "jug"}'
            polled = ask(polled_bar(tmp_path, server.url, poll), environ=ENVIRON)
        [asked] = other.asked
    assert CANARY not in told(asked) and "authorization" not in asked.headers
    assert "x-till-key" not in asked.headers and "x-venue" not in asked.headers
    assert "redirects there, without the secret" in polled.problem


def test_an_account_password_of_the_machine_is_never_sent(tmp_path: Path, monkeypatch: object) -> None:
    """Libraries take passwords from ~/.netrc unasked."""
    netrc = tmp_path / "netrc"
    netrc.write_text(f"machine {HOST} login somebody password {CANARY}")
    monkeypatch.setenv("NETRC", str(netrc))  # type: ignore[attr-defined]
    with serving(lambda asked: GOOD) as server:
        ask(polled_bar(tmp_path, server.url))
    assert "authorization" not in server.asked[0].headers


def test_redirects_have_an_end(tmp_path: Path) -> None:
    with serving(lambda asked: Reply(status=302, headers={"Location": asked.path + "x"})) as server:
        assert "redirects more than 5 times" in ask(polled_bar(tmp_path, server.url + "/a")).problem
    assert len(server.asked) == 6


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def tls(authority: trustme.CA) -> Iterator[ssl.SSLContext]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(HOST).configure_cert(context)
    yield context


def test_an_own_authority_is_trusted_where_it_is_named_and_only_there(
    tmp_path: Path, authority: trustme.CA, tls: ssl.SSLContext
) -> None:
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    with serving(lambda asked: GOOD, tls) as server:
        venue = polled_bar(tmp_path, server.url, LOGINS["bearer"])
        problem = ask(venue, environ=ENVIRON).problem
        assert "certificate of 127.0.0.1 is not trusted" in problem and "ca_file" in problem
        assert server.asked == [], "nothing was sent before the certificate was seen"
        venue.edit("venue.toml", "connect_seconds = 2", 'connect_seconds = 2\nca_file = "ca.pem"')
        assert ask(venue, environ=ENVIRON).problem == ""
    assert taken_ids(venue) == ["a"]


def test_a_missing_authority_file_is_named(tmp_path: Path, tls: ssl.SSLContext) -> None:
    with serving(lambda asked: GOOD, tls) as server:
        problem = ask(polled_bar(tmp_path, server.url, 'ca_file = "gone.pem"')).problem
    assert "'gone.pem' is not there" in problem


def test_https_never_goes_down_to_http(
    tmp_path: Path, authority: trustme.CA, tls: ssl.SSLContext
) -> None:
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    with serving(lambda asked: GOOD) as plain, serving(
        lambda asked: Reply(status=302, headers={"Location": plain.url}), tls
    ) as server:
        problem = ask(polled_bar(tmp_path, server.url, 'ca_file = "ca.pem"')).problem
        assert plain.asked == []
    assert "redirects to plain http" in problem


@pytest.mark.parametrize("target", ["file:///etc/passwd", "ftp://127.0.0.1/x", "http://127.0.0.1:bad/"])
def test_a_redirect_to_what_is_no_web_address_is_refused(tmp_path: Path, target: str) -> None:
    with serving(lambda asked: Reply(status=302, headers={"Location": target})) as server:
        polled = ask(polled_bar(tmp_path, server.url))
    assert polled.problem and taken_ids(polled_bar(tmp_path, server.url)) == []
