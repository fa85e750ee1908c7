"""The mail against a list of what mail programs support (npm caniemail, MIT), read by its own linter."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from alerts.days import oz
from mail.samples import busy_day, mail_of, quiet_day, till_missing
from outside import node_package, program

UNCHECKED = "whether mail programs show the mail as meant was NOT checked"
CLIENTS = (
    "outlook.windows", "outlook.outlook-com", "outlook.ios", "gmail.*", "apple-mail.*",
    "yahoo.desktop-webmail", "samsung-email.android",
)  # fmt: skip
MISSED = {
    "@media", "color-scheme meta tag", "<style> element",  # dark colours; without them it is light
    "word-break",  # a name of forty letters without a blank
    "aria-hidden attribute",  # a bar is read aloud as a blank
}
"""What some client lacks, and what is then missed: nothing that carries meaning."""
LINT = """
import {{ readFileSync }} from "node:fs";
import {{ caniemail }} from {module};
const found = caniemail({{ clients: {clients}, html: readFileSync(process.argv[2], "utf8") }});
const titles = [...found.issues.errors.values()].flat().map((one) => one.title);
console.log(JSON.stringify([...new Set(titles)]));
"""


def lacking(html: str, folder: Path) -> set[str]:
    """Titles of the features that one of the clients does not support."""
    package = node_package("caniemail", without=UNCHECKED)
    node = program("node", without=UNCHECKED)
    module = (package / "dist" / "index.js").as_uri()
    script, mail = folder / "lint.mjs", folder / "mail.html"
    script.write_text(LINT.format(module=json.dumps(module), clients=json.dumps(CLIENTS)), "utf-8")
    mail.write_text(html, "utf-8")
    done = subprocess.run([node, str(script), str(mail)], capture_output=True, text=True, timeout=60)
    if done.returncode and "SyntaxError" in done.stderr:
        pytest.skip(f"this node is too old for the linter: {UNCHECKED}")
    assert done.returncode == 0, done.stderr[-800:]
    return set(json.loads(done.stdout))


def test_nothing_that_carries_meaning_is_missed_in_the_usual_mail_programs(tmp_path: Path) -> None:
    for day in (busy_day(), quiet_day(), till_missing()):
        html = mail_of(day, before_ul=[oz(60), oz(61)], still_open=["Tap 4 drips (open 3 days)"]).html
        assert lacking(html, tmp_path) <= MISSED


def test_the_linter_finds_what_a_mail_program_drops(tmp_path: Path) -> None:
    html = mail_of(busy_day()).html.replace("<h1 style=\"", '<h1 style="display: grid; ')
    assert lacking(html, tmp_path) - MISSED


def test_the_list_that_is_kept_with_the_tests_is_the_packages_own() -> None:
    """Every answer of every client, as the newest tested version gives it."""
    package = node_package("caniemail", without="the list kept with the tests was NOT compared")
    source = json.loads((package / "data" / "caniemail.json").read_text("utf-8"))
    kept = json.loads((Path(__file__).parent / "data" / "mail_client_support.json").read_text("utf-8"))
    newest = {
        one["slug"]: "".join(_answer(one["stats"], *client.split()) for client in kept["clients"])
        for one in source["data"] if one["category"] in ("css", "html")
    }
    assert kept["features"] == newest


def _answer(stats: dict[str, dict[str, dict[str, str]]], family: str, platform: str) -> str:
    answers = list(stats.get(family, {}).get(platform, {}).values())
    return answers[-1][0] if answers else "u"
