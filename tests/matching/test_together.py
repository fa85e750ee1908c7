"""Days made ready together are, number for number, what each is made by itself."""

from __future__ import annotations

import random
from dataclasses import fields, is_dataclass

import numpy as np
import pytest

from matching.days import DAY_MS, HALF, NOON_MS, PINT, PITCHER, SETTINGS, busy_day, pour, ring
from unrung.matching import fragments, priors
from unrung.matching import prepare as module
from unrung.matching.costs import possible_pairs
from unrung.matching.nodes import gather
from unrung.matching.prepare import DayRows, Prepared, prepare_days
from unrung.matching.types import Entry, KegOn, MatchSettings

LATE = MatchSettings(window_after_ms=360 * 60_000)
PLACES_ONLY = {"lead", "at"}
"""Where a serve stands among all that were weighed: of use while learning only."""


def differing(one: object, two: object, path: str = "") -> list[str]:
    """Where two results differ."""
    if isinstance(one, np.ndarray):
        same = isinstance(two, np.ndarray) and one.dtype == two.dtype and np.array_equal(one, two)
        return [] if same else [path]
    if is_dataclass(one) and type(one) is type(two):
        return [
            place for part in fields(one) if part.name not in PLACES_ONLY
            for place in differing(getattr(one, part.name), getattr(two, part.name), f"{path}.{part.name}")
        ]
    return [] if one == two else [path]


def day_of(seed: int, rounds: int = 60, **more: object) -> DayRows:
    """A busy day, moved to a date of its own, of products in another number and with other sizes."""
    chance = random.Random(seed)
    beers = ("Amber", "Stout", "Wheat", "Cider")[: 1 + seed % 4]
    pours, rings = busy_day(seed, rounds, products=beers, **more)  # type: ignore[arg-type]
    # Half of the stouts in two goes, a pitcher, a leak, a wrong button.
    fuller = [one._replace(volume_ul=round(one.volume_ul * 1.13)) if one.product == "Stout" else one
              for one in pours]
    goes = [
        part for one in fuller for part in ([one] if one.product != "Stout" or chance.random() < 0.5 else [
            one._replace(end_ms=one.end_ms - 4_000, volume_ul=one.volume_ul * 7 // 10),
            one._replace(key=one.key + 50_000, start_ms=one.end_ms - 2_000,
                         volume_ul=one.volume_ul - one.volume_ul * 7 // 10),
        ])
    ]
    goes += [pour(90_000, 3_000 + seed, 60.0), pour(90_001, 9_000, 0.3)]
    rings[3:4] = [rings[3]._replace(product=beers[-1])]
    by = seed * DAY_MS
    sizes = {beer: [HALF, PINT, PITCHER][: 2 + number % 2] for number, beer in enumerate(beers)}
    return DayRows(
        [one._replace(start_ms=one.start_ms + by, end_ms=one.end_ms + by) for one in goes],
        [one._replace(at_ms=one.at_ms + by) for one in rings], sizes, (by, by + DAY_MS),
        [Entry(beers[0], NOON_MS + by + 4_000_000, PINT)], [KegOn("1", NOON_MS + by + 5_000_000)],
    )


def jumped(rows: DayRows) -> DayRows:
    """The till's clock was set back by seven minutes in the middle of the day."""
    middle = sorted(one.at_ms for one in rows.units)[len(rows.units) // 2]
    units = [one._replace(at_ms=one.at_ms - 420_000 * (one.at_ms > middle)) for one in rows.units]
    return rows._replace(units=units)


def swapped(rows: DayRows) -> DayRows:
    """Two lines stand on each other's kegs."""
    other = {"Amber": "Stout", "Stout": "Amber"}
    return rows._replace(
        units=[one._replace(product=other.get(one.product, one.product)) for one in rows.units]
    )


def settled() -> DayRows:
    """Nine pints in ten are topped up when they have settled; the first goes look like short pints."""
    chance = random.Random(4)
    pours, rings = busy_day(4, 150, products=("Stout",))
    goes = []
    for one in pours:
        first = one.volume_ul * 85 // 100
        if one.volume_ul > 430_000 and chance.random() < 0.9:
            goes.append(one._replace(key=one.key + 50_000, start_ms=one.end_ms + 20_000,
                                     end_ms=one.end_ms + 22_000, volume_ul=one.volume_ul - first))
            one = one._replace(volume_ul=first)
        goes.append(one)
    return DayRows(goes, rings, {"Stout": [HALF, PINT]}, (0, DAY_MS))


def days() -> list[DayRows]:
    return [
        day_of(3), settled(), DayRows([], [], {}, (0, DAY_MS)), jumped(day_of(5, 150)),
        day_of(1, 12), day_of(7, 80),
        DayRows([pour(1, 60)], [], {"Amber": [PINT]}, (0, DAY_MS)),
        DayRows([], [ring(1, 60)], {"Amber": [PINT]}, (0, DAY_MS)),
        swapped(day_of(9, 120, hours=9.0)), day_of(2, 40, lag_s=-200.0), day_of(11, 100),
    ]


@pytest.mark.parametrize("settings", [SETTINGS, MatchSettings(clock_offset_ms=30_000), LATE])
def test_days_together_are_as_each_by_itself(settings: MatchSettings) -> None:
    rows = days()
    together = prepare_days(rows, settings)
    assert [differing(one, prepare_days([day], settings)[0]) for one, day in zip(together, rows, strict=True)
            ] == [[]] * len(rows)


def test_the_days_of_the_test_are_what_they_are_to_be(monkeypatch: pytest.MonkeyPatch) -> None:
    begun_anew, in_place = [], fragments._in_place
    monkeypatch.setattr(
        fragments, "_in_place", lambda *given: begun_anew.append(int(given[3].sum())) or in_place(*given)
    )
    found = prepare_days(days(), SETTINGS)
    assert begun_anew and sum(begun_anew) < len(found)
    assert [one.clock.jump_at_ms is not None for one in found].index(True) == 3
    assert any(one.confusion for one in found)
    assert not any(one.blurred for one in found)


def test_a_crowd_among_others_is_worked_out_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(priors, "CROWD_PAIRS", 60)
    crowd = DayRows(*busy_day(1, 330, hours=0.5, products=("Amber",)), {"Amber": [HALF, PINT]}, (0, DAY_MS))
    rows = [day_of(3), crowd, day_of(5)]
    together = prepare_days(rows, SETTINGS)
    assert [one.blurred for one in together] == [False, True, False]
    assert not [place for one, day in zip(together, rows, strict=True)
                for place in differing(one, prepare_days([day], SETTINGS)[0])]


def test_of_several_days_only_those_with_too_many_pairs_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    made = prepare_days([day_of(3), day_of(7, 200)], SETTINGS)
    monkeypatch.setattr(priors, "MOST_PAIRS", 5_000)
    alone, both = ([pairs_of([one]) for one in made], pairs_of(made))
    assert sorted(pair for pairs in alone for pair in pairs) == sorted(both)
    monkeypatch.setattr(priors, "MOST_PAIRS", 10_000_000)
    assert pairs_of(made[:1]) == alone[0]
    assert len(pairs_of(made[1:])) > len(alone[1])


def pairs_of(days: list[Prepared]) -> list[tuple[int, int, int]]:
    """(key of the ring, end of the serve, gain) of all possible pairs of days put together."""
    nodes = gather(days, [np.arange(len(day.rings.product)) for day in days],
                   [np.arange(len(day.glasses.end)) for day in days])
    edges = possible_pairs(nodes.rings, nodes.glasses, nodes.laws)
    keys = [days[day].ring_key[row] for day, row in zip(
        nodes.ring_day[edges.ring].tolist(), nodes.ring_row[edges.ring].tolist(), strict=True)]
    ends = nodes.glasses.end[edges.glass]
    return list(zip(map(int, keys), ends.tolist(), edges.gain.tolist(), strict=True))


@pytest.mark.parametrize("most", [0, 400, 1_000])
def test_batches_change_nothing(monkeypatch: pytest.MonkeyPatch, most: int) -> None:
    rows = days()
    whole = prepare_days(rows, SETTINGS)
    monkeypatch.setattr(module, "ROWS_AT_ONCE", most)
    assert not [place for one, two in zip(whole, prepare_days(rows, SETTINGS), strict=True)
                for place in differing(one, two)]



@pytest.mark.parametrize("settings", [SETTINGS, MatchSettings(clock_offset_ms=30_000), LATE])
def test_a_day_without_a_row_is_what_it_would_be_worked_out(settings: MatchSettings) -> None:
    """Whatever its date and its menu, and what was written down on it; it is worked out once."""
    by = 20_000 * DAY_MS
    rows = DayRows([], [], {"Amber": [PINT]}, (by, by + 23 * 3_600_000),
                   [Entry("Amber", by + 4_000_000, PINT)], [KegOn("1", by + 5_000_000)])
    # The very steps that a day with rows goes through.
    worked_out = module._prepared([module._columns(rows)], settings)[0]
    assert differing(prepare_days([rows], settings)[0], worked_out) == []
    beside = prepare_days([day_of(3), rows, day_of(5)], settings)
    assert differing(beside[1], worked_out) == []
    assert [differing(one, prepare_days([day_of(seed)], settings)[0])
            for seed, one in ((3, beside[0]), (5, beside[2]))] == [[], []]
