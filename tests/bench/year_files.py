"""A year of a very busy bar as daily CSV files: about 655,000 pours and 500,000 rings.

Invented numbers; only their amount and shape matter. Made with numpy, the same each time.
"""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

TAPS, POURS_A_DAY, RINGS_A_DAY = 12, 1800, 1374
OZ_ML = 29.5735295625
SIZES_OZ = (16.0, 10.0, 20.0)
SIZE_NAMES = ("Pint", "Small", "Large")

VENUE = """\
[venue]
name = "Bench Bar"
timezone = "America/New_York"
[[feed]]
name = "till"
carries = "rings"
adapter = "csv"
folder = "till"
pattern = "*.csv"
settle_seconds = 0
[feed.fields]
id = "id"
at = "at"
item = "item"
size = "size"
units = "qty"
amount = "amount"
check = "check"
outlet = { const = "Bar" }
[feed.formats]
time = "iso"
[[feed]]
name = "meters"
carries = "pours"
adapter = "csv"
folder = "meters"
pattern = "*.csv"
settle_seconds = 0
[feed.fields]
id = "id"
tap = "tap"
start = "start"
end = "end"
volume = "ml"
[feed.formats]
time = "iso"
volume_unit = "ml"
"""


def make_year(folder: Path, days: int = 364, first: date = date(2025, 1, 6), scale: int = 1) -> None:
    """Write the config folder and ``days`` files a side; ``scale`` multiplies the rows of a day."""
    rng = np.random.default_rng(7)
    (folder / "till").mkdir(parents=True)
    (folder / "meters").mkdir()
    (folder / "venue.toml").write_text(VENUE)
    beers = [f"Beer {n + 1}" for n in range(TAPS)]
    _table(folder / "products.csv", ("product", "keg_size", "keg_cost"),
           [(beer, "1/2 us_bbl", "150.00") for beer in beers])
    _table(folder / "menu.csv", ("item", "size", "product", "portion", "price"),
           [(beer, name, beer, size, "7.00") for beer in beers
            for name, size in zip(SIZE_NAMES, SIZES_OZ, strict=True)])
    _table(folder / "taps.csv", ("tap", "outlet", "product"),
           [(f"T{n + 1}", "Bar", beer) for n, beer in enumerate(beers)])
    for n in range(days):
        _day(folder, first + timedelta(days=n), rng, scale)


def _day(folder: Path, day: date, rng: np.random.Generator, scale: int) -> None:
    """Pints one after the other on each tap; a part is topped up, a part never rung."""
    opens = datetime(day.year, day.month, day.day, 16, tzinfo=UTC)
    rings, pours = [], []
    for tap in range(TAPS):
        count = RINGS_A_DAY * scale // TAPS
        size = rng.choice(3, count, p=(0.7, 0.2, 0.1))
        at = np.sort(rng.uniform(0, 10 * 3600, count))
        at = np.maximum.accumulate(at + np.arange(count) * 1e-3)
        ml = np.array(SIZES_OZ)[size] * OZ_ML * rng.normal(1.0, 0.03, count)
        lag = np.clip(rng.lognormal(3.2, 0.6, count), 2, 600) - 10
        extra = (POURS_A_DAY - RINGS_A_DAY) * scale // TAPS
        topped = rng.choice(count, extra * 3 // 4, replace=False)
        parts = {int(n): 0.85 for n in topped}
        for n in range(count):
            took = ml[n] / 59.0
            first = ml[n] * parts.get(n, 1.0)
            pours.append((tap, at[n] - took, at[n], first))
            if n in parts:
                pours.append((tap, at[n] + 8, at[n] + 8 + (ml[n] - first) / 59.0, ml[n] - first))
            rings.append((at[n] + lag[n], tap, size[n], n // 2))
        for moment in rng.uniform(0, 10 * 3600, extra - extra * 3 // 4):
            pours.append((tap, moment - 8, moment, 16 * OZ_ML))
    pours.sort(key=lambda row: row[2])
    rings.sort()
    name = day.isoformat()
    _table(folder / "meters" / f"{name}.csv", ("id", "tap", "start", "end", "ml"), [
        (f"{name}-{n}", f"T{tap + 1}", _iso(opens, start), _iso(opens, end), f"{ml:.1f}")
        for n, (tap, start, end, ml) in enumerate(pours)
    ])
    _table(folder / "till" / f"{name}.csv", ("id", "at", "item", "size", "qty", "amount", "check"), [
        (f"{name}-{n}", _iso(opens, at), f"Beer {tap + 1}", SIZE_NAMES[size], 1, "7.00", f"{name}/{check}")
        for n, (at, tap, size, check) in enumerate(rings)
    ])


def _iso(opens: datetime, seconds: float) -> str:
    return (opens + timedelta(seconds=float(seconds))).isoformat(timespec="seconds")


def _table(path: Path, header: tuple[str, ...], rows: list[tuple[object, ...]]) -> None:
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(header)
        out.writerows(rows)
