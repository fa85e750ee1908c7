"""What a finding costs each day at its place, counted the same way before and after a fix.

A finding itself looks back over weeks and says what it can prove; here every day is counted by the
same rule, whether the finding stands on it or not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from statistics import fmean
from typing import NamedTuple

from unrung.findings.glasses import topped_up
from unrung.findings.leak import LARGEST_DRIP
from unrung.findings.samples import LARGEST, SMALLEST
from unrung.ledger.facts import DayFacts, ServeFact

LEAST_SERVES = 5
"""Of a day that counts, where a cost is held against the beer."""

OTHER_SIZE = 0.2
"""Sizes of a menu differ by a quarter at least (16 and 20): a glass off by more than this share of its
portion, and nearer to another size, is that size."""


class Place(NamedTuple):
    """Where a fix is looked for: empty parts are not asked for."""

    outlet: str
    tap: str = ""
    product: str = ""
    item: str = ""
    size: str = ""

    def holds(self, serve: ServeFact) -> bool:
        return (
            self.outlet in ("", serve.outlet) and self.tap in ("", serve.tap)
            and self.product in ("", serve.product)
            and (not self.item or (self.item, self.size) == (serve.item, serve.size))
        )


class Daily(NamedTuple):
    """One day: what it cost, per microlitre of beer or per day, and the beer."""

    day: date
    figure: float
    beer_ul: int


class Measure(NamedTuple):
    """``name`` is shared by findings that are told by the same figure, and says what it counts."""

    name: str
    per_beer: bool
    """Held against the beer poured: a quiet week is no mended tap."""
    cost_ul: Callable[[ServeFact], int]


def _fill(serve: ServeFact) -> int:
    """A glass far from its portion that is nearer to another size tells of buttons, not of filling."""
    return 0 if _of_other_size(serve) else serve.difference_ul


def _topped(serve: ServeFact) -> int:
    return _fill(serve) if topped_up(serve) else 0


def _size(serve: ServeFact) -> int:
    return serve.difference_ul if _of_other_size(serve) else 0


def _of_other_size(serve: ServeFact) -> bool:
    return serve.other_size and abs(serve.difference_ul) > OTHER_SIZE * serve.portion_ul


def _drip(serve: ServeFact) -> int:
    return serve.left_ul if serve.volume_ul <= LARGEST_DRIP else 0


def _taster(serve: ServeFact) -> int:
    return serve.left_ul if SMALLEST <= serve.volume_ul <= LARGEST else 0


def _unrung(serve: ServeFact) -> int:
    return serve.left_ul if serve.volume_ul > LARGEST else 0


_FILL, _UNRUNG = (
    Measure("glasses over or under their portion", True, _fill),
    Measure("beer without a ring", True, _unrung),
)
MEASURES = {
    "portion_setting": _FILL, "portion_drift": _FILL, "meter_calibration": _FILL,
    "top_ups": Measure("topped-up glasses", True, _topped),
    "wrong_size": Measure("larger sizes than rung", True, _size),
    "leak": Measure("tiny flows", False, _drip),
    "samples": Measure("tasters without a ring", True, _taster),
    "mis_ring": _UNRUNG, "serves_without_ring": _UNRUNG,
}
"""Findings with a daily figure. The others are events: seen again, or not."""


def daily(days: Iterable[DayFacts], place: Place, measure: Measure) -> list[Daily]:
    """The figure of every whole day with enough to go by, in order."""
    found = []
    for day in days:
        serves = [serve for serve in day.serves if place.holds(serve)]
        beer = sum(serve.volume_ul for serve in serves)
        cost = sum(measure.cost_ul(serve) for serve in serves)
        if day.missing or (measure.per_beer and len(serves) < LEAST_SERVES):
            continue
        found.append(Daily(day.day, cost / beer if measure.per_beer else cost, beer))
    return found


def a_day_ul(figures: Iterable[Daily], measure: Measure) -> float:
    """Microlitres a day that a figure of 1 stands for: the beer of a usual day of all of them."""
    return fmean(one.beer_ul for one in figures) if measure.per_beer else 1.0
