"""A secret stays out of the store, the log, messages and names, whatever happens to the request."""

from __future__ import annotations

import base64
import logging
import os
from pathlib import Path
from urllib.parse import quote, quote_plus

import pytest

from polling.bar import ask, document, polled_bar, rows_reply, sale
from polling.server import Asked, Reply, serving
from polling.test_redirects import LOGINS
from unrung.catch_up import catch_up
from unrung.checking import check_folder
from venue_folder import ms

SECRET = "canary/5+2b=="
FORMS = [
    SECRET, quote(SECRET), quote(SECRET, safe=""), quote_plus(SECRET),
    base64.b64encode(f"bar:{SECRET}".encode()).decode(),
]
ENVIRON = {"TILL_SECRET": SECRET}


def echoing(asked: Asked) -> Reply:
    """A server that gives away what it was told, wherever it can."""
    told = f"{asked.path}?{asked.query}{asked.headers}".replace("\r", "").replace("\n", "")
    return Reply(told.encode(), 401, {"WWW-Authenticate": told, "X-Why": told})


MISHAPS = {
    "refused, with an echo": echoing,
    "web page": lambda asked: Reply(b"<html>" + repr(asked).encode()),
    "broken off": lambda asked: Reply(b"{", promised=9),
    "redirected": lambda asked: Reply(status=302, headers={"Location": f"/x?key={quote(SECRET)}"}),
    "not readable": lambda asked: Reply(document([{"id": "1", "at": "?", "item": "?"}])),
    "odd headers": lambda asked: Reply(b"[]", headers={"Odd": "a\r\n folded\r\nno colon here"}),
    "silent": lambda asked: Reply(pause=9),
    "good": lambda asked: rows_reply([sale("a", "19:00:00")]),
}


@pytest.mark.parametrize("mishap", MISHAPS)
@pytest.mark.parametrize("login", LOGINS)
def test_a_secret_is_told_to_nobody(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str], login: str,
    mishap: str,
) -> None:
    caplog.set_level(logging.DEBUG)
    with serving(MISHAPS[mishap]) as server:
        venue = polled_bar(tmp_path, f"{server.url}/sales", LOGINS[login], read_seconds=0.2)
        with venue.open("20:00:00") as (settings, db):
            done = catch_up(db, settings, ms("20:00:00"), venue.said.append, ENVIRON)
        report = check_folder(tmp_path, ms("20:00:00"), ENVIRON)
        assert server.asked, "the secret was not used at all"
    told = [caplog.text, *capfd.readouterr(), *venue.said, *done.problems, *report.lines]
    told += [path.read_bytes().decode("latin-1") for path in tmp_path.rglob("*") if path.is_file()]
    assert not [text for text in told for form in FORMS if form in text]


@pytest.mark.parametrize("login", LOGINS)
def test_a_secret_arrives_as_it_is(tmp_path: Path, login: str) -> None:
    """RFC 7617 for basic, RFC 6750 for bearer."""
    with serving(MISHAPS["good"]) as server:
        ask(polled_bar(tmp_path, server.url, LOGINS[login]), environ=ENVIRON)
        asked = server.asked[0]
    expected = {
        "basic": ("authorization", f"Basic {FORMS[-1]}"), "bearer": ("authorization", f"Bearer {SECRET}"),
        "header": ("x-till-key", SECRET), "query": ("key", SECRET),
    }[login]
    assert ({**asked.headers, **asked.query})[expected[0]] == expected[1]


def test_a_secret_in_the_next_pages_address_is_taken_out_before_it_is_kept(tmp_path: Path) -> None:
    def play(asked: Asked) -> Reply:
        assert asked.query["key"] == SECRET
        page = int(asked.query.get("p", "1"))
        link = {"Link": f'</sales?p={page + 1}&key={quote_plus(SECRET)}>; rel="next"'} if page < 3 else {}
        return rows_reply([sale(str(page), "19:00:00")])._replace(headers=link)

    with serving(play) as server:
        poll = LOGINS["query"] + '\npaging = {by = "link", max_pages = 1}'
        venue = polled_bar(tmp_path, f"{server.url}/sales", poll)
        for now in ("20:00:00", "20:00:05", "20:00:10"):
            polled = ask(venue, now, environ=ENVIRON)
            assert polled.problem == ""
            stored = b"".join(path.read_bytes() for path in tmp_path.glob("unrung.sqlite*"))
            assert not [form for form in FORMS if form.encode() in stored]
    assert len(server.asked) == 3 and not polled.more


def test_a_secret_comes_from_a_file_that_only_its_owner_reads(tmp_path: Path) -> None:
    path = tmp_path / "till.secret"
    path.write_text(f"{SECRET}\n")
    path.chmod(0o644)
    with serving(MISHAPS["good"]) as server:
        venue = polled_bar(tmp_path, server.url, LOGINS["bearer"].replace(
            'secret_env = "TILL_SECRET"', 'secret_file = "till.secret"'))
        if os.name == "posix":
            assert "others can read this secret" in ask(venue, "20:00:00").problem
            assert server.asked == []
        path.chmod(0o600)
        assert ask(venue, "20:01:00", on_demand=True).problem == ""
    assert server.asked[0].headers["authorization"] == f"Bearer {SECRET}"


@pytest.mark.parametrize(
    ("environ", "said"),
    [
        ({}, "the environment variable TILL_SECRET with the secret is not set"),
        ({"TILL_SECRET": "two\nlines"}, "characters that cannot be sent"),
        ({"TILL_SECRET": "kéy"}, "characters that cannot be sent"),
    ],
)
def test_a_secret_that_cannot_be_used_is_told_before_anything_is_sent(
    tmp_path: Path, environ: dict[str, str], said: str
) -> None:
    with serving(MISHAPS["good"]) as server:
        polled = ask(polled_bar(tmp_path, server.url, LOGINS["header"]), environ=environ)
    assert said in polled.problem and server.asked == []
