"""Invented days for ``matching_speed.py``: only their amount and shape matter. The same each time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import NamedTuple

import numpy as np

from simulator import LOSSES, VENUES, simulate, to_matching
from unrung.matching.types import MeteredPour, RingUnit

OZ_UL = 29_573.5295625
SIZES_UL = tuple(round(oz * OZ_UL) for oz in (10, 16, 20))
HOUR_MS = 3_600_000
BUSY_POURS, BUSY_RINGS = 1_790, 1_370
"""A day of a bar with 650,000 pours and 500,000 rings a year."""


class DayRows(NamedTuple):
    """One day of one outlet, as ``prepare`` takes it."""

    pours: list[MeteredPour]
    units: list[RingUnit]
    sizes: dict[str, tuple[int, ...]]
    bounds: tuple[int, int]


def busy_bar(days: int) -> list[list[DayRows]]:
    """Days of a bar with 12 taps, by outlet or pool, every kind of loss in it at a third of full strength."""
    usual = VENUES["standard"]
    VENUES["bench"] = replace(usual, drinks={name: 2.4 * drinks for name, drinks in usual.drinks.items()})
    month = simulate(77, days=days, start=date(2026, 10, 5), venue="bench",
                     losses={name: 0.33 for name in LOSSES})
    found = []
    for pool in month.pools:
        rows = []
        for day in month.days:
            given = to_matching(month, day.date, pool)
            low, high = day.start_ms, day.end_ms
            rows.append(DayRows([p for p in given.pours if low <= p.end_ms < high],
                                [u for u in given.units if low <= u.at_ms < high], given.sizes, (low, high)))
        found.append(rows)
    return found


def crowd(seed: int, pours: int, hours: float, taps: int, products: int) -> DayRows:
    """A steady crowd at a counter: rounds of 1 to 4 glasses, rung together some 40 s after; 5 % not rung,
    5 % of the glasses finished by a top-up, 2 % of the rings late by up to half an hour."""
    chance = np.random.default_rng(seed)
    glasses = round(pours / 1.05)
    round_of = np.repeat(np.arange(glasses), chance.integers(1, 5, glasses))[:glasses]
    count = int(round_of[-1]) + 1
    begun = np.sort(chance.uniform(0, hours * HOUR_MS, count)).astype(np.int64)
    place = np.arange(glasses) - np.searchsorted(round_of, round_of)
    tap = chance.integers(0, taps, glasses)
    portion = np.array(SIZES_UL)[chance.choice(3, glasses, p=(0.2, 0.6, 0.2))]
    volume = (portion * np.exp(chance.normal(0, 0.035, glasses))).astype(np.int64)
    end = HOUR_MS * 6 + begun[round_of] + 12_000 * place + chance.integers(0, 6_000, glasses)
    topped = chance.random(glasses) < 0.05
    first = np.where(topped, volume * 9 // 10, volume)
    rows = np.stack((tap, end - 9_000, end, first))
    again = np.stack((tap, end + 8_000, end + 9_500, volume - first))[:, topped]
    rows = np.concatenate((rows, again), axis=1)
    poured = [
        MeteredPour(key, f"T{tap:03d}", f"Beer {tap % products:02d}", start, until, ul)
        for key, (tap, start, until, ul) in enumerate(zip(*rows.tolist(), strict=True))
    ]
    late = chance.normal(40, 12, count) + np.where(
        chance.random(count) < 0.02, chance.uniform(0, 1_800, count), 0)
    last = np.zeros(count, np.int64)
    np.maximum.at(last, round_of, end)
    at = last[round_of] + (1_000 * late[round_of]).astype(np.int64)
    rung = [
        RingUnit(row, f"Beer {tap[row] % products:02d}", int(at[row]), int(portion[row]), f"c{round_of[row]}")
        for row in np.flatnonzero(chance.random(glasses) >= 0.05).tolist()
    ]
    names = {pour.product for pour in poured}
    return DayRows(poured, rung, {name: SIZES_UL for name in names}, (0, 40 * HOUR_MS))


def outlets_of(day: DayRows, outlets: int) -> list[DayRows]:
    """The crowd spread over stands: a tap belongs to one, and a ring goes with its pour."""
    home = {pour.key: int(pour.tap[1:]) % outlets for pour in day.pours}
    parts: list[DayRows] = [DayRows([], [], day.sizes, day.bounds) for _ in range(outlets)]
    for pour in day.pours:
        parts[int(pour.tap[1:]) % outlets].pours.append(pour)
    for unit in day.units:
        parts[home[unit.key]].units.append(unit)
    return parts
