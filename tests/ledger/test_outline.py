"""Neighbours in outline: a day that sees the same of them is the same, whatever they hold."""

from __future__ import annotations

import random
from collections import Counter
from datetime import timedelta
from itertools import islice, product
from typing import NamedTuple

import pytest

from ledger.bar import DAY, HOUR, MINUTE, SECOND, Bar, materials
from ledger.random_days import Story
from unrung.ledger.clocks import ClockNote
from unrung.ledger.day import compute_day
from unrung.ledger.hour_shift import Rung, hours_ahead, sure_of_hours
from unrung.ledger.inputs import DayInputs
from unrung.ledger.material import Material
from unrung.ledger.outline import (
    Outline,
    apart,
    as_text,
    from_text,
    in_outline,
    listening,
    outline_of,
    seen_by,
)
from unrung.ledger.results import DayLedger
from unrung.matching.types import Serve

AROUND = [DAY + timedelta(days=n) for n in (-1, 0, 1)]
AWAY = [0, 1, 3, 10, 19, 20, 21, 25, 40, 60, 90, 240]
"""Minutes between an edge and what goes on nearest to it; rings are looked for up to a few dozen minutes
from their pours."""


def told(seed: int) -> Bar:
    """Three days that begin and end some minutes from their edges, the day in the middle always the same."""
    own, other = random.Random(seed // 4), random.Random(seed)
    story = Story(seed // 4, own.random() < 0.3)
    start, end = story.bar.bounds(DAY)
    story.scene_at(start + own.choice(AWAY) * MINUTE, own.randrange(12))
    story.scene_at(start + 14 * HOUR, own.randrange(40))
    story.scene_at(end - own.choice(AWAY) * MINUTE - 8 * MINUTE, own.randrange(12))
    story.chance = other
    story.check += 1000
    for edge, way in ((start, -1), (end, 1)):
        story.scene_at(edge + way * (other.choice(AWAY) + 8 * (way < 0)) * MINUTE, other.randrange(12))
        story.scene_at(edge + way * 8 * HOUR, other.randrange(30))
    return story.bar


def computed(bar: Bar, whole: list[Material]) -> DayLedger:
    return compute_day(*whole, bar.settings, {1: "export.csv"})


class Look(NamedTuple):
    """The day in the middle, what it saw, the three outlines and materials."""

    ledger: DayLedger
    seen: str
    outlines: list[Outline]
    whole: list[Material]

    def bare(self, nth: int) -> Material:
        """All that is read of a neighbour that stands in outline."""
        day = self.whole[nth]
        inputs = DayInputs(day.day, day.bounds, kegs=day.inputs.kegs)
        return in_outline(inputs, self.outlines[nth], self.whole[1])

    def computed_in_outline(self, bar: Bar) -> DayLedger:
        return computed(bar, [self.bare(0), self.whole[1], self.bare(2)])


def looked_at(bar: Bar, whole: list[Material] | None = None) -> Look:
    """``whole``: the bar's three days, where they are ready."""
    whole = whole or materials([bar], AROUND)
    ledger = computed(bar, whole)
    outlines = [from_text(as_text(outline_of(material))) for material in whole]
    assert ledger.facts is not None
    outlines[1] = listening(outlines[1], whole[1], ledger.facts, ledger.clocks)
    outlines[1] = from_text(as_text(outlines[1]))
    return Look(ledger, seen_by(*outlines, whole[1].options), outlines, whole)


@pytest.mark.parametrize("first", range(0, 160, 40))
def test_a_day_that_sees_the_same_of_its_neighbours_is_the_same(first: int) -> None:
    met = Counter[str]()
    for seed in range(first, first + 40, 4):
        by_seen: dict[str, DayLedger] = {}
        bars = [told(seed + one) for one in range(4)]
        days = iter(materials(bars, AROUND))
        for one, bar in enumerate(bars):
            look = looked_at(bar, list(islice(days, 3)))
            if not look.seen:
                met["reached"] += 1
                continue
            assert by_seen.setdefault(look.seen, look.ledger) == look.ledger
            met["the same"] += len(by_seen) < one + 1
            if look.outlines[0].stands_for_itself and look.outlines[2].stands_for_itself:
                assert look.computed_in_outline(bar) == look.ledger
                met["in outline"] += 1
    assert min(met["reached"], met["the same"], met["in outline"]) >= 3, met


@pytest.mark.parametrize("pour_first", [True, False])
def test_what_may_reach_across_an_edge_is_never_taken_to_be_apart(pour_first: bool) -> None:
    """A lone pour and a lone ring on either side of an edge, further and further away from each other."""
    met, bars = Counter[str](), list[Bar]()
    for before, behind in product((0.2, 9, 19, 30, 90), (0.2, 9, 21, 60, 119, 200)):
        bar = Bar()
        for day in ("06-09", "06-10"):
            bar.evening(first=f"{day} 18:00:00")
        edge = bar.bounds(DAY)[0]
        early, late = round(edge - before * MINUTE), round(edge + behind * MINUTE)
        bar.pour(early if pour_first else late, tap="2")
        bar.ring(late if pour_first else early, item="Stout")
        bars.append(bar)
    days = iter(materials(bars, AROUND))
    for bar in bars:
        look = looked_at(bar, list(islice(days, 3)))
        moved = look.computed_in_outline(bar) != look.ledger
        assert not (moved and (look.seen or apart(*look.outlines[:2], look.whole[1].options)))
        met["seen" if look.seen else "moved" if moved else "reached"] += 1
    assert met["seen"] >= 3 and met["moved"] >= 3, met


@pytest.mark.parametrize(("after", "at"), [(30, "06-10 04:00:10"), (30, "06-11 04:00:10"),
                                           (-300, "06-10 03:57:00"), (-300, "06-11 03:57:00")])
def test_a_ring_that_belongs_to_the_day_across_the_edge_reaches_it(after: int, at: str) -> None:
    """By a till that is right, or five minutes behind; no pour is near."""
    bar = Bar()
    for day in ("06-09", "06-10", "06-11"):
        bar.evening(first=f"{day} 18:00:00", after=after, gap=700)
    assert looked_at(bar).seen != ""
    bar.ring(at, item="Stout")
    look = looked_at(bar)
    assert look.seen == "" and [row.carried_in + row.carried_out for row in look.ledger.till] == [1_000_000]


def test_a_day_not_sure_of_its_hours_sees_the_rings_of_its_neighbours() -> None:
    """Its own till may be whole hours off: then they have a say."""
    bar = Bar()
    for minute in range(30):
        bar.pour(f"06-10 18:{minute:02}:00")
    assert looked_at(bar).seen != ""
    bar.ring("06-11 20:00:00")
    assert looked_at(bar).seen == ""


def test_an_outlet_that_only_a_neighbour_rings_for_is_seen() -> None:
    bar = Bar()
    bar.evening()
    seen = looked_at(bar).seen
    bar.ring("06-11 20:00:00", outlet="Kiosk")
    assert seen and looked_at(bar).seen not in ("", seen)


def test_a_keg_of_the_day_before_is_seen_and_one_of_the_day_after_is_not() -> None:
    bar = Bar()
    bar.evening()
    seen = looked_at(bar).seen
    bar.keg_on("06-11 20:00:00", keg="K7")
    assert looked_at(bar).seen == seen != ""
    bar.keg_on("06-09 20:00:00", keg="K7")
    assert looked_at(bar).seen not in ("", seen)


def test_beers_taken_for_each_other_are_seen_by_the_days_beside() -> None:
    """Lines swapped at their taps the day before: rings of one answer pours of the other."""
    bar = Bar()
    bar.evening()
    seen = looked_at(bar).seen
    chance = random.Random(5)
    for minute in range(0, 800, 10):
        end = bar.bounds(AROUND[0])[0] + 4 * HOUR + minute * MINUTE + chance.randrange(60) * SECOND
        tap = chance.choice("12")
        bar.pour(end, 16, tap=tap)
        bar.ring(end + 25 * SECOND, item="Stout" if tap == "1" else "Amber")
    now = looked_at(bar)
    assert not now.outlines[0].stands_for_itself and now.outlines[1].stands_for_itself
    assert now.seen not in ("", seen) and now.ledger.leaves


def hours(seed: int) -> tuple[list[int], list[Serve], list[int]]:
    """An evening, set right or not, and rings of other evenings; of rings the times."""
    chance = random.Random(seed)
    ends = sorted(chance.randrange(6 * HOUR) for _ in range(chance.choice([5, 19, 20, 30, 200])))
    serves = [Serve("Amber", "1", end - 8 * SECOND, end, 473_176, ((end, 473_176),), None) for end in ends]
    off, rung = chance.choice([0, 0, 0, 5 * HOUR]), chance.choice([0.1, 0.3, 0.6, 1])
    rings = [end + round(chance.gauss(0, 15 * SECOND)) + off for end in ends if chance.random() < rung]
    others = [way * HOUR + chance.randrange(5 * HOUR)
              for way in (-12, 12) for _ in range(chance.choice([0, 25, 400]))]
    return rings, serves, others


def ambers(times: list[int]) -> Rung:
    return Rung(times, [("Amber", 473_176)] * len(times))


def test_a_day_sure_of_its_hours_is_so_whatever_was_rung_on_the_days_beside() -> None:
    met, clock = Counter[tuple[bool, bool]](), ClockNote("Bar", 0, 0)
    for seed in range(300):
        rings, serves, others = hours(seed)
        early, late = [at for at in others if at < 0], [at for at in others if at > 0]
        sure = sure_of_hours(ambers(rings), clock, serves)
        found = hours_ahead(ambers([*early, *rings, *late]), clock, serves)
        assert not (sure and found)
        met[sure, bool(found)] += 1
    assert min(met[True, False], met[False, True], met[False, False]) >= 10, met
