"""Which file of an export lies where: ``TABLE/venue=NAME/day=2026-10-31/part-0.parquet``.

The folders are named as Hive does it, which most tools read as two columns. Signs that a file system
or such a tool might misread are written %XX (RFC 3986).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from urllib.parse import quote, unquote

from unrung.parquet.columns import Table

FILE = "part-0.parquet"
SETTINGS = "settings.json"
STORE = "store.txt"
"""Beside the settings: which store the venue's days come from."""


def venue_key(name: str) -> str:
    """The folder of a venue.

    >>> venue_key("The 7th Tap/Bar.")
    'venue=The%207th%20Tap%2FBar%2E'
    """
    return "venue=" + quote(name, safe="").replace(".", "%2E")


def day_folder(root: Path, table: Table, venue: str, day: date) -> Path:
    return root / table / venue_key(venue) / f"day={day.isoformat()}"


def settings_folder(root: Path, venue: str) -> Path:
    """Where the settings lie that a venue's days are computed with."""
    return root / "settings" / venue_key(venue)


def venues(root: Path) -> list[str]:
    """Names of the venues that were exported to ``root``, in order."""
    return sorted(_values(root / "settings", "venue"))


def days(root: Path, table: Table, venue: str) -> list[date]:
    """Business days of which ``venue`` has rows, in order."""
    found = _values(root / table / venue_key(venue), "day")
    return sorted(map(date.fromisoformat, found))


def _values(folder: Path, key: str) -> Iterator[str]:
    for path in folder.iterdir() if folder.is_dir() else ():
        name, is_key, value = path.name.partition("=")
        if is_key and name == key and path.is_dir():
            yield unquote(value)
