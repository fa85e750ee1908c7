"""Random days at a small venue, for hypothesis: everything that a till, meters and staff can write."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

from hypothesis import strategies as st

from ledger.bar import DAY, MENU, MINUTE, SECOND, TAPS, Bar, menu, ms
from unrung.ledger.inputs import RingLine
from unrung.settings import Pool, TapRow

GARDEN = TapRow(tap="9", outlet="Garden", product="Amber", line_volume_ul=300_000)
BARE = TapRow(tap="3", outlet="Bar", product="Rye", metered=False)
RYE = TapRow(tap="4", outlet="Bar", product="Rye")
WALL = menu(("Self serve", "Stout", 1), sold_by="volume")
PITCHER = menu(("Pitcher", "Amber", 60))

OF_TAP = {"1": "Amber", "2": "Stout", "4": "Rye", "9": "Amber"}
DAYS = [DAY + timedelta(days=n) for n in range(3)]
AROUND = [DAY + timedelta(days=n) for n in range(-1, 4)]
"""The days in which something happens, with a quiet one on either side."""
TIMES = ("18:00:00", "06-11 02:30:00", "06-11 03:57:00", "06-11 18:00:00", "06-12 03:59:00", "06-12 10:00:00")
"""Where trade goes on for a while; twice across a day's edge."""


class Story:
    """Draws from one seed, so that hypothesis shrinks the number of scenes, not each number."""

    def __init__(self, seed: int, pooled: bool) -> None:
        pools = [Pool(name="House", outlets=("Bar", "Garden"))] if pooled else []
        rows = (*MENU, *WALL, *PITCHER, *menu(("Rye", "Rye", 16)))
        self.bar = Bar(menu=rows, taps=(*TAPS, GARDEN, BARE, RYE), pools=pools)
        self.chance = random.Random(seed)
        self.check = 0

    def scene(self, start: str, events: int) -> None:
        self.scene_at(ms(start), events)

    def scene_at(self, at: int, events: int) -> None:
        for _ in range(events):
            at += round(self.chance.expovariate(1 / 40) * SECOND)
            self.chance.choice(SCENES)(self, at)

    def any_tap(self) -> str:
        return self.chance.choice(["1", "1", "2", "4", "9"])

    def ring(self, at: int, **changes: Any) -> RingLine:
        self.check += 1
        later = round(self.chance.gauss(30, 25)) * SECOND
        values: dict[str, Any] = {
            "check": str(self.check), "ref": f"r{self.check}", "cents": self.chance.randrange(900),
            "terminal": self.chance.choice(["T1", "T2"]),
        }
        return self.bar.ring(at + later, **values | changes)

    def glass(self, at: int, ounces: float, tap: str) -> None:
        over = self.chance.gauss(1, 0.03)
        self.bar.pour(at, round(ounces * over, 3), tap=tap, seconds=ounces / 2, ref=f"p{at}")


def sale(story: Story, at: int) -> None:
    tap = story.any_tap()
    item, size = story.chance.choice([("Amber", "Pint"), ("Amber", "Half")])
    ounces = 16 if size == "Pint" else 8
    if tap in "24":
        item, size, ounces = ("Stout", "Pint", 16) if tap == "2" else ("Rye", "", 16)
    story.glass(at, ounces, tap)
    kind = story.chance.choice(["sale"] * 8 + ["comp", "void", "training"])
    voided = story.chance.choice([None, "06-12 23:00:00"]) if kind == "void" else None
    story.ring(at, item=item, size=size, kind=kind, voided=voided,
               outlet="Garden" if tap == "9" else "Bar")


def round_of(story: Story, at: int) -> None:
    units = story.chance.choice([2, 3, 1.5])
    for nth in range(round(units)):
        story.glass(at + nth * 12 * SECOND, 16, "1")
    line = story.ring(at, units=units)
    if story.chance.random() < 0.5:
        named = story.chance.random() < 0.5
        story.ring(at + MINUTE, units=-story.chance.choice([1, 0.5, 2]), kind="void",
                   check=line.check, terminal=line.terminal, voids=line.origin.ref if named else "")


def split(story: Story, at: int) -> None:
    story.glass(at, 16, "1")
    for share in story.chance.choice([(0.5, 0.5), (0.25, 0.5, 0.25), (0.5,)]):
        story.ring(at, units=share)


def mixed(story: Story, at: int) -> None:
    story.glass(at, 8, "2")
    story.glass(at + 15 * SECOND, 8, "1")
    story.ring(at, item="Black and Amber", size="")


def wall(story: Story, at: int) -> None:
    ounces = round(story.chance.uniform(2, 20), 1)
    story.bar.pour(at, ounces, tap="2")
    story.ring(at, item="Self serve", size="", units=ounces)


def pitcher(story: Story, at: int) -> None:
    story.glass(at, 35, "1")
    story.glass(at + 25 * SECOND, 25, "1")
    story.ring(at, item="Pitcher", size="")


def odd(story: Story, at: int) -> None:
    """A flow without a ring: drip, taster, glass, gas, an unknown tap."""
    ounces, seconds, tap = story.chance.choice(
        [(0.2, 1, "1"), (2, 1, "2"), (16, 8, "1"), (30, 3, "4"), (16, 8, "77"), (70, 35, "9")])
    story.bar.pour(at, ounces, tap=tap, seconds=seconds)


def lone_ring(story: Story, at: int) -> None:
    item, size, outlet = story.chance.choice([
        ("Amber", "Pint", "Bar"), ("Rye", "", "Bar"), ("Burger", "", "Bar"), ("Soup", "", "Garden"),
        ("Amber", "Pint", "Kiosk"), ("Stout", "Pint", "Garden"), ("Stout Towpath special", "", "Bar")])
    story.ring(at, item=item, size=size, outlet=outlet,
               kind=story.chance.choice(["sale", "refund", "comp"]))


def written(story: Story, at: int) -> None:
    minute = at // MINUTE * MINUTE
    ounces = story.chance.choice([2, 16, 20])
    named: dict[str, Any] = story.chance.choice(
        [{}, {"product": ""}, {"product": "", "tap": "2"}, {"outlet": "Garden"}])
    match story.chance.randrange(3):
        case 0:
            story.bar.log(None, "staff", ounces, day=story.bar.day_of(at).isoformat(), **named)
        case 1:
            story.bar.log(minute, "cleaning", None, end=minute + 3 * MINUTE, **named)
        case _:
            story.bar.log(minute, "waste", ounces, **named)


def keg(story: Story, at: int) -> None:
    story.bar.keg_on(at, tap=story.any_tap(), keg=story.chance.choice(["K1", "K2", ""]))
    story.bar.pour(at + 20 * SECOND, 12, tap="1", seconds=6)


SCENES = [sale] * 10 + [round_of, split, mixed, wall, pitcher, odd, odd, lone_ring, lone_ring, written, keg]


@st.composite
def stories(draw: st.DrawFn) -> Bar:
    """Three days of trade; sometimes a side is covered only in part."""
    story = Story(draw(st.integers(0, 10**6)), draw(st.booleans()))
    for start in TIMES:
        story.scene(start, draw(st.integers(0, 14)))
    for cover in (story.bar.ring_cover, story.bar.pour_cover):
        if draw(st.integers(0, 3)) == 0:
            low, high = story.bar.bounds(DAYS[0])
            cover[DAYS[0]] = [(low, (low + high) // 2), (high - 40 * MINUTE, high)]
    return story.bar


