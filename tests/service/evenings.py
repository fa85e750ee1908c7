"""Evenings at the test bar: pints that were rung, and some that were not."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from venue_folder import Row, VenueFolder, local, make_venue, pour, ring

MAIL = """
[mail]
sender = "bar@example.org"
to = [{to}]
host = "127.0.0.1"
port = {port}
security = "none"
timeout_seconds = {timeout}
"""
ALERT = """
[[alert]]
name = "product_day"
per = "product_day"
min_pct = 3
min_volume = 64
hold_days = {hold}
"""


def mailing_bar(path: Path, port: int, *, to: tuple[str, ...] = ("ann@example.org",), hold: int = 0,
                timeout: float = 5, more: str = "") -> VenueFolder:
    """The bar with a mail server on this machine and one rule: 3 % and 64 fl oz of a product."""
    people = ", ".join(f'"{one}"' for one in to)
    mail = MAIL.format(to=people, port=port, timeout=timeout)
    return make_venue(path, more=mail + ALERT.format(hold=hold) + more)


def after(text: str, minutes: float) -> str:
    """``minutes`` after a local time."""
    at = datetime.fromisoformat(local(text)) + timedelta(minutes=minutes)
    return at.strftime("%m-%d %H:%M:%S")


def rung_pints(start: str, count: int, tap: str = "1") -> tuple[list[Row], list[dict[str, Any]]]:
    """``count`` pints of Amber, one every five minutes from ``start``: rings and their pours."""
    times = [after(start, 5 * n) for n in range(count)]
    return (
        [ring(at, check=f"{start}/{n}") for n, at in enumerate(times)],
        [pour(f"{tap}/{at}", after(at, -0.6), tap=tap) for at in times],
    )


def lone_pints(start: str, count: int, tap: str = "1") -> list[dict[str, Any]]:
    """``count`` pints that nobody rang, every five minutes between those that were."""
    return [pour(f"{tap}/lone/{start}/{n}", after(start, 5 * n + 2.6), tap=tap) for n in range(count)]


def evening(venue: VenueFolder, name: str, start: str, written: str, *, rung: int = 24, lone: int = 0,
            tap: str = "1") -> None:
    """Drop a till and a meter export, written at ``written``, of pints from ``start`` on."""
    rings, pours = rung_pints(start, rung, tap)
    venue.rings(f"{name}.csv", rings, written)
    venue.pours(f"{name}.json", pours + lone_pints(start, lone, tap), written)
