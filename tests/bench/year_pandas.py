"""What a plain script does of it: the same files with pandas, rows kept in SQLite, nearest in time.

The baseline that a person would write in an afternoon: no identities, no bad rows kept aside, no
serves of several goes, no uncertainty, no revisions. Run by ``year.py`` in a process of its own.
"""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path

import pandas as pd

TOLERANCE = pd.Timedelta(minutes=10)


def run(folder: Path) -> None:
    """Read every file, keep the rows, join pours to rings per tap, write one CSV of variances."""
    menu = pd.read_csv(folder / "menu.csv")
    taps = pd.read_csv(folder / "taps.csv")
    pours = _read(folder / "meters", ["start", "end"]).merge(taps, on="tap")
    rings = _read(folder / "till", ["at"]).merge(menu, on=["item", "size"])
    with sqlite3.connect(folder / "plain.sqlite") as db:
        pours.to_sql("pours", db, if_exists="replace", index=False)
        rings.to_sql("rings", db, if_exists="replace", index=False)
    rings["portion_ml"] = rings["portion"] * 29.5735295625
    paired = pd.merge_asof(
        rings.sort_values("at"), pours.sort_values("end"), left_on="at", right_on="end",
        by="product", direction="nearest", tolerance=TOLERANCE,
    )
    for frame, column in ((pours, "end"), (rings, "at"), (paired, "at")):
        frame["day"] = (frame[column].dt.tz_convert("America/New_York") - pd.Timedelta(hours=4)).dt.date
    keys = ["day", "product"]
    days = pd.DataFrame({
        "poured_ml": pours.groupby(keys)["ml"].sum(),
        "rung_ml": rings.groupby(keys)["portion_ml"].sum(),
        "paired": paired.groupby(keys)["tap"].count(),
    })
    days["variance_ml"] = days["poured_ml"] - days["rung_ml"]
    days.to_csv(folder / "plain-variance.csv")


def _read(folder: Path, times: list[str]) -> pd.DataFrame:
    rows = pd.concat([pd.read_csv(path) for path in sorted(folder.glob("*.csv"))], ignore_index=True)
    for name in times:
        rows[name] = pd.to_datetime(rows[name], utc=True)
    return rows


if __name__ == "__main__":
    run(Path(sys.argv[1]))
