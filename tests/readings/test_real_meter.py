"""A real meter's running total against its own column of what flowed in each second.

Source: ``tests/data/outside/ciws``. Cut at any row, with the halves in either order or twice, its file
gives the same pours to the last microlitre.
"""

from __future__ import annotations

import csv
from datetime import datetime
from fractions import Fraction
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readings.bar import ledger, metered_bar, poured, running
from readings.meter import litres, read
from unrung.units import UNITS_UL
from venue_folder import VenueFolder

FILE = Path(__file__).parent.parent / "data/outside/ciws/blue_square_b_1s.csv"
DAY = (1_498_608_000_000, 1_498_694_400_000)
"""All of 28 June 2017, UTC."""
FEED = running(
    export="append", meter='{const = "M1"}', at="Date", total="TotalizedVolume", unit="us_gal", skip=1
)


@cache
def rows() -> list[dict[str, str]]:
    with FILE.open(newline="") as file:
        next(file)
        return list(csv.DictReader(file))


def _ms(row: dict[str, str]) -> int:
    return round(datetime.fromisoformat(f"{row['Date']}+00:00").timestamp() * 1000)


def _lines() -> list:  # type: ignore[type-arg]
    return litres(*((_ms(row), row["TotalizedVolume"]) for row in rows()), unit="us_gal")


def _increments() -> list[Fraction]:
    """What flowed in each second, in microlitres, by the meter's own column."""
    return [Fraction(row["IncrementalVolume"]) * UNITS_UL["us_gal"] for row in rows()]


def test_the_differences_of_the_total_are_what_flowed_in_each_second() -> None:
    lines = _lines()
    rises = [(b.total_ul or 0) - (a.total_ul or 0) for a, b in pairwise(lines)]
    assert all(abs(rise - flowed) <= 1 for rise, flowed in zip(rises, _increments()[1:], strict=True))


def test_pours_are_the_runs_of_seconds_in_which_something_flowed() -> None:
    lines, blind = read(_lines(), DAY, unit="us_gal")
    times, flowed = [_ms(row) for row in rows()], _increments()
    expected = []
    for is_flow, run in groupby(range(1, len(flowed)), key=lambda second: flowed[second] > 0):
        seconds = list(run)
        if is_flow:
            volume = sum(flowed[second] for second in seconds)
            expected.append((times[seconds[0] - 1], times[seconds[-1]], volume))
    assert len(expected) == 7
    assert [(line.start_ms, line.end_ms) for line in lines] == [one[:2] for one in expected]
    assert all(abs((line.volume_ul or 0) - one[2]) <= 2 for line, one in zip(lines, expected, strict=True))
    assert all(one.why == "" for one in blind)


@settings(max_examples=8)
@given(cut=st.integers(1, 1_349), late_first=st.booleans(), twice=st.booleans(), shared=st.integers(0, 40))
def test_a_file_cut_anywhere_gives_the_same_volume(
    tmp_path_factory: pytest.TempPathFactory, cut: int, late_first: bool, twice: bool, shared: int
) -> None:
    parts = {"a.csv": (0, cut), "b.csv": (max(0, cut - shared), 1_350)}
    if twice:
        parts["a again.csv"] = (0, cut)
    order = sorted(parts, reverse=late_first)
    venue = metered_bar(tmp_path_factory.mktemp("bar"), FEED, flow=100)
    for name in order:
        _drop(venue, name, *parts[name])
        venue.intake("06-12 12:00:00")
    assert poured(ledger(venue, "2017-06-28")) == _whole()


def _drop(venue: VenueFolder, name: str, first: int, last: int) -> None:
    lines = FILE.read_bytes().splitlines(keepends=True)
    venue.drop(venue.meter / name, b"".join([*lines[:2], *lines[2 + first : 2 + last]]))


@cache
def _whole() -> int:
    lines = _lines()
    return (lines[-1].total_ul or 0) - (lines[0].total_ul or 0)
