"""axe-core (npm, MPL-2.0) looks at the page and the mail in headless Chromium."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest

from mail.samples import busy_day, mail_of, till_missing
from outside import node_package, program
from page.test_page import day, page

UNCHECKED = "accessibility was NOT checked"
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--virtual-time-budget=20000", "--dump-dom",
)
LIGHT, DARK = "--blink-settings=preferredColorScheme=1", "--blink-settings=preferredColorScheme=0"
ASK = (
    "<script>{axe}</script><script>axe.run().then(function (found) {{ document.body.innerHTML = "
    "'<pre id=\"found\">' + JSON.stringify(found.violations.map(function (one) {{ return [one.id, "
    "one.impact]; }})) + '</pre>'; }});</script></body>"
)


@pytest.fixture(scope="module")
def axe() -> str:
    return (node_package("axe-core", without=UNCHECKED) / "axe.min.js").read_text("utf-8")


def violations(html: str, axe: str, folder: Path, *flags: str) -> list[list[str]]:
    (folder / "asked.html").write_text(html.replace("</body>", ASK.format(axe=axe)), "utf-8")
    chromium = program("chromium", "chromium-browser", without=UNCHECKED)
    done = subprocess.run(
        [chromium, *FLAGS, *flags, f"--user-data-dir={folder / 'profile'}", (folder / "asked.html").as_uri()],
        capture_output=True, text=True, timeout=90,
    )
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout)
    assert found, done.stderr[-500:]
    return list(json.loads(found[1]))


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("shown", ["page", "busy mail", "provisional mail"])
def test_axe_finds_nothing_wrong(shown: str, colours: str, axe: str, tmp_path: Path) -> None:
    """Its rules hold the success criteria of WCAG 2.2, A and AA, contrast among them."""
    mails = {"busy mail": busy_day(), "provisional mail": till_missing()}
    html = mail_of(mails[shown]).html if shown in mails else page(day())
    assert violations(html, axe, tmp_path, colours) == []


def test_in_dark_colours_axe_sees_the_dark_ones(axe: str, tmp_path: Path) -> None:
    faint = page(day()).replace("--ink: #eeebe5", "--ink: #33383d")
    assert violations(faint, axe, tmp_path, LIGHT) == []
    assert ["color-contrast", "serious"] in violations(faint, axe, tmp_path, DARK)


def test_axe_finds_what_is_wrong(axe: str, tmp_path: Path) -> None:
    broken = page(day()).replace('<html lang="en">', "<html>")
    assert ["html-has-lang", "serious"] in violations(broken, axe, tmp_path)
