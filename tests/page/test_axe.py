"""axe-core (npm, MPL-2.0) looks at the page and the mail in headless Chromium.

One start of the browser for each colour scheme: the documents are shown one after the other in a frame.
"""

from __future__ import annotations

import json
import re
import subprocess

import pytest

from mail.samples import busy_day, mail_of, till_missing
from outside import node_package, program
from page.test_page import day, page

UNCHECKED = "accessibility was NOT checked"
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--virtual-time-budget=60000", "--dump-dom",
)
COLOURS = {"dark": 0, "light": 1}
"""The browser's numbers of the schemes."""
FRAME = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta name="color-scheme" content="light dark"></head><body><script>
const axe = {axe}, pages = {pages}, found = {{}};
async function look() {{
  for (const [name, html] of Object.entries(pages)) {{
    const frame = document.createElement("iframe");
    frame.style = "width: 1000px; height: 1400px";
    document.body.append(frame);
    await new Promise((shown) => {{ frame.onload = shown; frame.srcdoc = html; }});
    frame.contentWindow.eval(axe);
    const run = await frame.contentWindow.axe.run();
    found[name] = [run.passes.length, run.violations.map((one) => [one.id, one.impact])];
    frame.remove();
  }}
  document.body.innerHTML = '<pre id="found">' + JSON.stringify(found) + "</pre>";
}}
look();
</script></body></html>"""
Found = dict[str, tuple[int, list[list[str]]]]
"""Page to how many of axe's rules it passes, and the rules that it breaks with their impact."""


@pytest.fixture(scope="module", params=list(COLOURS))
def found(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Found]:
    axe = (node_package("axe-core", without=UNCHECKED) / "axe.min.js").read_text("utf-8")
    pages = {
        "page": page(day()), "busy mail": mail_of(busy_day()).html,
        "provisional mail": mail_of(till_missing()).html,
        "faint in the dark": page(day()).replace("--ink: #eeebe5", "--ink: #33383d"),
        "without a language": page(day()).replace('<html lang="en">', "<html>"),
    }
    folder = tmp_path_factory.mktemp("axe")
    html = FRAME.format(axe=_in_script(axe), pages=_in_script(pages))
    (folder / "frame.html").write_text(html, "utf-8")
    chromium = program("chromium", "chromium-browser", without=UNCHECKED)
    done = subprocess.run(
        [chromium, *FLAGS, f"--blink-settings=preferredColorScheme={COLOURS[request.param]}",
         f"--user-data-dir={folder / 'profile'}", (folder / "frame.html").as_uri()],
        capture_output=True, text=True, timeout=90,
    )
    told = re.search(r'<pre id="found">(.*?)</pre>', done.stdout)
    assert told, done.stderr[-500:]
    return request.param, json.loads(told[1])


def _in_script(value: object) -> str:
    return json.dumps(value).replace("</", "<\\/").replace("<!--", "<\\!--")


@pytest.mark.parametrize("shown", ["page", "busy mail", "provisional mail"])
def test_axe_finds_nothing_wrong(shown: str, found: tuple[str, Found]) -> None:
    """Its rules hold the success criteria of WCAG 2.2, A and AA, contrast among them."""
    passed, broken = found[1][shown]
    assert broken == [] and passed >= 15


def test_in_dark_colours_axe_sees_the_dark_ones(found: tuple[str, Found]) -> None:
    colours, seen = found
    expected = [["color-contrast", "serious"]] if colours == "dark" else []
    assert seen["faint in the dark"][1] == expected


def test_axe_finds_what_is_wrong(found: tuple[str, Found]) -> None:
    assert ["html-has-lang", "serious"] in found[1]["without a language"][1]
