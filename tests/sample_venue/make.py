"""Writes ``sample_exports/`` and the tables of ``config/``: run ``python tests/sample_venue/make.py``.

The same bytes on every machine and every run. Only the standard library is used.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sample_venue.bar import Bar, Week
from sample_venue.cellar import morning, night, open_cellar
from sample_venue.clock import DAYS, moment
from sample_venue.exports import config_tables, exports, number
from sample_venue.place import GARDEN, GOLD, LONG, MILD, TAPS
from sample_venue.story import STORY
from sample_venue.trade import Hours, Quiet, Trade, arrivals, order
from sample_venue.truth import truth

ROOT = Path(__file__).resolve().parents[2]
SEED = 20261027
LEFT = {tap.name: tap.left_oz for tap in TAPS}
"""Chosen so that no keg runs out beside a told event; after a change of the story,
``find_kegs.py`` looks for others."""
BEFORE, AFTER = 14 * 60, 10 * 60
STEADY = 45 * 60
"""Beyond these, no keg may run out: its foam would stand beside the told event."""
WEEK = (
    Hours(DAYS[0], "23:00", 10.5),
    Hours(DAYS[1], "23:00", 10.5),
    Hours(DAYS[2], "23:30", 12),
    Hours(DAYS[3], "25:00", 14, ("18:00", "24:30")),
    Hours(DAYS[4], "27:00", 13, ("18:00", "26:00")),
    Hours(DAYS[5], "22:00", 12),
    Hours(DAYS[6], "23:00", 10),
)


def play(left_oz: Mapping[str, int] = LEFT) -> Week:
    """The week as it happened, told events and ordinary trade in the order of time.

    ``left_oz`` is the beer in each tap's keg on the first morning. Raises ``RanDry``.
    """
    bar = Bar(SEED, left_oz)
    open_cellar(bar)
    told = [(moment(DAYS[t.day], t.time), t) for t in STORY]
    quiet = [Quiet(*beer, at - BEFORE, at + AFTER) for at, t in told for beer in t.beers]
    bar.steady = [(q.outlet, q.product, q.since - STEADY, q.until + STEADY) for q in quiet]
    bar.steady += [
        (GARDEN, GOLD, moment(h.day, "16:30"), moment(h.day, h.closes))
        for h in WEEK if h.extra_tap[0]
    ]
    bar.steady.append((LONG, MILD, moment(DAYS[3], "4:00"), moment(DAYS[3], "28:00")))
    trade = Trade(bar, quiet)
    for nth, hours in enumerate(WEEK):
        morning(bar, nth, hours)
        acts: list[tuple[int, Callable[[], object]]] = [
            (at, partial(t.deed, bar, at)) for at, t in told if t.day == nth
        ]
        acts += [(at, partial(order, trade, hours, at)) for at in arrivals(bar, hours)]
        for _, act in sorted(acts, key=lambda pair: pair[0]):
            act()
        night(bar, hours)
    number(bar.week)
    return bar.week


def build() -> dict[Path, bytes]:
    """Every file by its path below the project folder."""
    week = play()
    files = {Path("sample_exports", name): data for name, data in exports(week).items()}
    files |= {Path("config", name): data for name, data in config_tables().items()}
    files[Path("sample_exports", "truth.json")] = truth_text(truth(week)).encode()
    return files


def truth_text(whole: dict[str, object]) -> str:
    """JSON with one row or entry to a line, so that a change shows in a difference."""
    parts = []
    for name, value in whole.items():
        parts.append(f"{json.dumps(name)}: {_lines(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _lines(value: object) -> str:
    if isinstance(value, list):
        return "[\n" + ",\n".join(json.dumps(row) for row in value) + "\n]"
    if isinstance(value, dict):
        rows = (f"{json.dumps(k)}: {json.dumps(v)}" for k, v in value.items())
        return "{\n" + ",\n".join(rows) + "\n}"
    return json.dumps(value)


def main() -> None:
    for path, data in build().items():
        target = ROOT / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)


if __name__ == "__main__":
    main()
