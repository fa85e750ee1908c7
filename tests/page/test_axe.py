"""axe-core (npm, MPL-2.0) looks at the page and the mail in headless Chromium."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from page.test_page import day, page

CHROMIUM = shutil.which("chromium")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--virtual-time-budget=20000", "--dump-dom",
)
ASK = (
    "<script>{axe}</script><script>axe.run().then(function (found) {{ document.body.innerHTML = "
    "'<pre id=\"found\">' + JSON.stringify(found.violations.map(function (one) {{ return [one.id, "
    "one.impact]; }})) + '</pre>'; }});</script></body>"
)


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    if CHROMIUM is None or shutil.which("npm") is None:
        pytest.skip("no Chromium or npm here: accessibility was NOT checked")
    folder = tmp_path_factory.mktemp("axe")
    done = subprocess.run(["npm", "install", "--silent", "axe-core@4"], cwd=folder, capture_output=True)
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if done.returncode or not script.exists():
        pytest.skip("axe-core could not be installed: accessibility was NOT checked")
    return script.read_text("utf-8")


def violations(html: str, axe: str, folder: Path) -> list[list[str]]:
    (folder / "asked.html").write_text(html.replace("</body>", ASK.format(axe=axe)), "utf-8")
    assert CHROMIUM
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", (folder / "asked.html").as_uri()],
        capture_output=True, text=True, timeout=90,
    )
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout)
    assert found, done.stderr[-500:]
    return list(json.loads(found[1]))


def test_axe_finds_nothing_wrong_with_the_page(axe: str, tmp_path: Path) -> None:
    assert violations(page(day()), axe, tmp_path) == []


def test_axe_finds_what_is_wrong(axe: str, tmp_path: Path) -> None:
    broken = page(day()).replace('<html lang="en">', "<html>")
    assert ["html-has-lang", "serious"] in violations(broken, axe, tmp_path)
