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
    _menu(folder, beers)
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


def make_stadium(folder: Path, day: date = date(2025, 1, 6)) -> None:
    """One game: 120,000 pours in five hours, 400 taps of 12 beers at 30 stands, 19 of 20 rung."""
    taps, outlets, each, beers = 400, 30, 300, [f"Beer {n + 1}" for n in range(TAPS)]
    rng = np.random.default_rng(11)
    (folder / "till").mkdir(parents=True)
    (folder / "meters").mkdir()
    (folder / "venue.toml").write_text(VENUE.replace('{ const = "Bar" }', '"outlet"'))
    _menu(folder, beers)
    _table(folder / "taps.csv", ("tap", "outlet", "product"),
           [(f"T{n + 1}", f"Stand {n % outlets + 1}", beers[n // outlets % TAPS]) for n in range(taps)])
    opens = datetime(day.year, day.month, day.day, 16, tzinfo=UTC)
    ends = np.arange(each) * 60 + rng.uniform(12, 55, (taps, each))
    size = rng.choice(3, (taps, each), p=(0.7, 0.2, 0.1))
    ml = np.array(SIZES_OZ)[size] * OZ_ML * rng.normal(1.0, 0.03, (taps, each))
    lag = np.clip(rng.lognormal(3.2, 0.6, (taps, each)), 2, 600) - 10
    poured = [(t, n) for t, n in sorted(np.ndindex(taps, each), key=lambda at: ends[at])]
    rung = sorted((ends[at] + lag[at], at) for at in poured if rng.random() < 0.95)
    name = day.isoformat()
    _table(folder / "meters" / f"{name}.csv", ("id", "tap", "start", "end", "ml"), [
        (f"{name}-{k}", f"T{at[0] + 1}", _iso(opens, ends[at] - ml[at] / 59.0), _iso(opens, ends[at]),
         f"{ml[at]:.1f}")
        for k, at in enumerate(poured)
    ])
    header = ("id", "at", "item", "size", "qty", "amount", "check", "outlet")
    _table(folder / "till" / f"{name}.csv", header, [
        (f"{name}-{k}", _iso(opens, when), beers[at[0] // outlets % TAPS], SIZE_NAMES[size[at]], 1, "7.00",
         f"{name}/{k // 2}", f"Stand {at[0] % outlets + 1}")
        for k, (when, at) in enumerate(rung)
    ])


def _menu(folder: Path, beers: list[str]) -> None:
    _table(folder / "products.csv", ("product", "keg_size", "keg_cost"),
           [(beer, "1/2 us_bbl", "150.00") for beer in beers])
    _table(folder / "menu.csv", ("item", "size", "product", "portion", "price"),
           [(beer, name, beer, size, "7.00") for beer in beers
            for name, size in zip(SIZE_NAMES, SIZES_OZ, strict=True)])


def _iso(opens: datetime, seconds: float) -> str:
    return (opens + timedelta(seconds=float(seconds))).isoformat(timespec="seconds")


def _table(path: Path, header: tuple[str, ...], rows: list[tuple[object, ...]]) -> None:
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(header)
        out.writerows(rows)
