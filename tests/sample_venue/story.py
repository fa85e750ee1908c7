"""What happens besides the ordinary: each thing that the week is there to show, once or more.

A ``Told`` event names the beers it needs to itself; the ordinary trade leaves those alone from
14 minutes before to 10 minutes after, so that nobody can mistake its rings or its pours.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

from sample_venue.bar import Bar
from sample_venue.deeds import (
    cleaning,
    comp,
    day_only,
    lone,
    long_pour,
    mis_ring,
    mixed,
    noted,
    noted_for_nothing,
    pitcher_in_two,
    refund,
    rung_only,
    shirt,
    snifter,
    sold,
    split,
    taster,
    tasters_noted,
    top_up,
    training,
    unknown_tap,
    void_after,
    void_before,
    void_before_negative,
    wrong_size,
)
from sample_venue.place import (
    BITTER,
    CIDER,
    FLIGHT,
    GARDEN,
    GOLD,
    HALVES,
    LONG,
    MILD,
    PALE,
    RYE,
    STOUT,
    WHEAT,
)

Deed = Callable[[Bar, int], object]


class Told(NamedTuple):
    day: int
    """0 is Tuesday."""
    time: str
    beers: tuple[tuple[str, str], ...]
    deed: Deed


def _one(day: int, time: str, deed: Callable[..., object], outlet: str, product: str,
         *more: object, **named: object) -> Told:
    return Told(day, time, ((outlet, product),),
                lambda bar, at: deed(bar, at, outlet, product, *more, **named))


def _mixed(day: int, time: str, what: str) -> Told:
    chosen = FLIGHT if what == "flight" else HALVES
    beers = tuple((LONG, product) for product, _ in chosen.portions)
    return Told(day, time, beers, partial(mixed, what=what))


def _free(day: int, time: str, deed: Deed) -> Told:
    return Told(day, time, (), deed)


def _mis(day: int, time: str, outlet: str, poured: str, rung: str) -> Told:
    return Told(day, time, ((outlet, poured), (outlet, rung)),
                partial(mis_ring, outlet=outlet, poured=poured, rung=rung))


TUE, WED, THU, FRI, SAT, SUN, MON = range(7)
STORY = (
    _free(TUE, "10:00", partial(cleaning, tap_name="L4")),
    _one(TUE, "14:10", void_before, LONG, BITTER),
    _one(TUE, "15:20", training, LONG, GOLD, 2),
    _one(TUE, "16:40", taster, GARDEN, WHEAT),
    _one(TUE, "17:30", long_pour, GARDEN, WHEAT),
    _mixed(TUE, "18:20", "flight"),
    _one(TUE, "19:15", split, LONG, RYE, (0.5, 0.5)),
    _one(TUE, "20:10", pitcher_in_two, LONG, BITTER),
    _one(TUE, "21:00", top_up, LONG, STOUT),
    _one(TUE, "21:20", lone, GARDEN, CIDER),

    _one(WED, "14:50", noted, LONG, RYE, "Waste", (11.6, 12.1), "24"),
    _one(WED, "15:40", taster, LONG, PALE),
    _one(WED, "16:20", taster, LONG, STOUT),
    _one(WED, "17:40", comp, LONG, GOLD),
    _mixed(WED, "18:40", "flight"),
    _mixed(WED, "19:40", "half-and-half"),
    _one(WED, "20:30", void_after, LONG, GOLD),
    _one(WED, "21:20", lone, GARDEN, PALE),
    _one(WED, "22:10", noted, LONG, MILD, "Staff drink", (15.9, 16.0), "32"),

    _free(THU, "10:15", partial(cleaning, tap_name="G2")),
    _one(THU, "14:05", lone, GARDEN, GOLD),
    _one(THU, "16:20", void_before_negative, LONG, MILD),
    _one(THU, "17:40", refund, LONG, BITTER),
    _mis(THU, "19:00", LONG, RYE, MILD),
    _one(THU, "20:20", wrong_size, GARDEN, WHEAT),
    _one(THU, "20:45", comp, LONG, GOLD),
    _one(THU, "21:10", noted_for_nothing, GARDEN, CIDER, "Waste"),
    _one(THU, "21:40", top_up, LONG, STOUT),

    _one(FRI, "15:05", lone, LONG, MILD),
    _one(FRI, "16:50", tasters_noted, GARDEN, WHEAT),
    _mixed(FRI, "17:30", "flight"),
    _one(FRI, "18:20", lone, LONG, MILD),
    _mixed(FRI, "18:55", "half-and-half"),
    _one(FRI, "19:30", lone, GARDEN, CIDER),
    Told(FRI, "20:05", ((LONG, BITTER),), snifter),
    _one(FRI, "20:50", long_pour, LONG, GOLD),
    _one(FRI, "21:45", lone, GARDEN, CIDER),
    _mixed(FRI, "22:20", "flight"),
    Told(FRI, "22:40", ((LONG, MILD),), day_only),

    _one(SAT, "12:40", training, GARDEN, WHEAT),
    _free(SAT, "13:30", shirt),
    _one(SAT, "14:40", noted, LONG, STOUT, "Waste", (15.2,), "16", tap=True),
    _one(SAT, "15:40", rung_only, LONG, RYE),
    _one(SAT, "16:30", top_up, GARDEN, CIDER),
    _one(SAT, "17:20", pitcher_in_two, GARDEN, PALE),
    _one(SAT, "18:10", comp, LONG, BITTER, 2),
    _one(SAT, "19:10", lone, GARDEN, WHEAT),
    _mixed(SAT, "19:30", "flight"),
    _one(SAT, "19:55", lone, GARDEN, WHEAT),
    _one(SAT, "20:50", lone, GARDEN, WHEAT),
    _free(SAT, "21:05", unknown_tap),
    _one(SAT, "21:40", lone, GARDEN, WHEAT),
    _one(SAT, "22:00", void_after, LONG, RYE),
    Told(SAT, "22:45", ((LONG, BITTER),), snifter),
    _one(SAT, "22:30", lone, GARDEN, WHEAT),
    _mixed(SAT, "23:20", "half-and-half"),
    _one(SAT, "23:35", lone, GARDEN, WHEAT),
    _one(SAT, "25:20", lone, LONG, STOUT),
    _one(SAT, "26:15", lone, LONG, STOUT),
    _one(SAT, "26:49", sold, LONG, BITTER),

    _one(SUN, "13:20", void_before, GARDEN, CIDER),
    _free(SUN, "14:10", shirt),
    _one(SUN, "14:30", noted, LONG, STOUT, "Waste", (11.8, 12.4), "24"),
    _one(SUN, "15:30", taster, LONG, RYE),
    _mixed(SUN, "16:40", "flight"),
    _one(SUN, "17:50", noted, LONG, BITTER, "Comp", (15.9,), "16"),
    _one(SUN, "19:00", void_after, LONG, BITTER, negative=True),
    _one(SUN, "20:00", lone, LONG, GOLD),
    _one(SUN, "20:30", comp, GARDEN, WHEAT),

    _free(MON, "09:40", partial(cleaning, tap_name="L1")),
    _free(MON, "10:20", partial(cleaning, tap_name="G3")),
    _one(MON, "14:30", noted, GARDEN, PALE, "Training", (4.9, 5.0, 5.0), "15"),
    _one(MON, "16:10", split, LONG, GOLD, (0.5, 0.25, 0.25)),
    _one(MON, "17:30", refund, GARDEN, CIDER),
    _mixed(MON, "18:40", "half-and-half"),
    _one(MON, "19:20", lone, GARDEN, PALE),
    _one(MON, "20:15", long_pour, LONG, PALE),
    _one(MON, "21:00", top_up, LONG, RYE),
)
