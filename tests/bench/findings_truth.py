"""What a simulated month's causes cost, day by day and place by place, for the findings to be held to.

A place is a tap (by the tap list's name) where the cause sits at a tap, and an outlet or pool where
it may sit anywhere in it; ``""`` is the venue.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from simulator import SimMonth
from simulator.meters import date_at
from simulator.model import SimPour
from simulator.truth import CAUSES

AT_TAPS = (
    "leak", "meter_calibration", "tap_list", "portion_drift", "top_ups", "keg_change_loss",
    "unlogged_cleaning",
)
AT_PRODUCTS = ("keg_short_fill", "portion_setting")
IN_OUTLETS = ("samples", "wrong_size", "mis_ring", "serves_without_ring", "feed_gap")
LEAST_OFFSET_MS = 60_000

Place = tuple[str, str]
"""(finding, tap, "pool/product", pool, or "")."""


@dataclass
class Cost:
    """Microlitres by day (index into the month), of one cause at one place or of all beer there."""

    by_day: dict[int, int] = field(default_factory=lambda: defaultdict(int))

    def between(self, first: int, last: int) -> int:
        return sum(ul for day, ul in self.by_day.items() if first <= day <= last)

    @property
    def whole(self) -> int:
        return sum(self.by_day.values())


@dataclass
class Truth:
    """What was lost where, and how much beer went through there."""

    lost: dict[Place, Cost] = field(default_factory=lambda: defaultdict(Cost))
    poured: dict[str, Cost] = field(default_factory=lambda: defaultdict(Cost))
    always: set[Place] = field(default_factory=set)
    """Causes that cost no volume and are to be found all the same."""
    spans: dict[Place, tuple[int, int]] = field(default_factory=dict)
    """When a feed was silent."""

    def share(self, place: Place) -> float:
        beer = self.poured[place[1]].whole
        return self.lost[place].whole / beer if beer else 0.0

    def owed(self) -> set[Place]:
        """What is to be found: causes that cost at least 1 % of their place's beer."""
        return {place for place in self.lost if self.share(place) >= 0.01} | self.always


def truth_of(month: SimMonth) -> Truth:
    """The month's causes by place."""
    truth = Truth()
    days = {day.date: day.index for day in month.days}
    tap_of: dict[str, str] = {}
    for span in month.taps:
        for name in (span.tap, span.meter):
            tap_of.setdefault(name, span.tap)
    serves = {serve.id: serve for serve in month.serves}
    for pour in month.pours:
        day = days.get(date_at(month.days, pour.end_ms), len(days) - 1)
        _enter_pour(truth, month, pour, tap_of[pour.tap], day)
        for part in pour.parts:
            serve = serves.get(part.serve_id or 0)
            if serve is None or part.volume_ul <= 0:
                continue
            share = part.volume_ul / serve.volume_ul
            pool = month.place[pour.outlet]
            if serve.cause:
                truth.lost[_place(serve.cause, tap_of[pour.tap], pool, pour.product)].by_day[day] += (
                    part.volume_ul
                )
            elif serve.unit_id is not None:
                for cause, ul in serve.extras.items():
                    where = _place(cause, tap_of[pour.tap], pool, pour.product)
                    truth.lost[where].by_day[day] += round(ul * share)
    _kegs(truth, month, days, tap_of)
    _without_volume(truth, month, days, tap_of)
    return truth


def _enter_pour(truth: Truth, month: SimMonth, pour: SimPour, tap: str, day: int) -> None:
    pool = month.place[pour.outlet]
    for name in (tap, pool, f"{pool}/{pour.product}", ""):
        truth.poured[name].by_day[day] += pour.volume_ul
    for part in pour.parts:
        if part.serve_id is None and part.label in CAUSES:
            place = _place(CAUSES[part.label], tap, pool, pour.product)
            truth.lost[place].by_day[day] += part.volume_ul


def _place(cause: str, tap: str, pool: str, product: str) -> Place:
    if cause in AT_TAPS:
        return cause, tap
    if cause in AT_PRODUCTS:
        return cause, f"{pool}/{product}"
    return cause, pool


def _kegs(truth: Truth, month: SimMonth, days: dict[object, int], tap_of: dict[str, str]) -> None:
    """Short kegs cost where and when they come off."""
    running: dict[str, object] = {}
    for keg in month.kegs:
        if keg.kind == "off":
            on = running.pop(keg.tap, None)
            if on is not None and on.label == "keg_short_fill":
                place = ("keg_short_fill", f"{month.place[keg.outlet]}/{on.product}")
                day = days.get(date_at(month.days, keg.at_ms), len(days) - 1)
                truth.lost[place].by_day[day] += (on.size_ul or 0) - (on.true_content_ul or 0)
        elif keg.kind == "on":
            running[keg.tap] = keg


def _without_volume(
    truth: Truth, month: SimMonth, days: dict[object, int], tap_of: dict[str, str]
) -> None:
    steady = sorted(span.offset_ms for span in month.clock)[len(month.clock) // 2]
    for span in month.clock:
        if abs(span.offset_ms - steady) >= LEAST_OFFSET_MS and span.from_ms < month.days[-1].end_ms:
            day = days.get(date_at(month.days, span.from_ms), len(days) - 1)
            truth.lost["clock_offset", ""].by_day[day] += 0
            truth.always.add(("clock_offset", ""))
    for gap in month.gaps:
        name = tap_of[gap.name] if gap.side == "pours" else month.place[gap.name]
        day = days.get(date_at(month.days, gap.start_ms), len(days) - 1)
        truth.lost["feed_gap", name].by_day[day] += 0
        truth.spans["feed_gap", name] = (gap.start_ms, gap.end_ms)
        if gap.rows >= 20:
            truth.always.add(("feed_gap", name))


__all__ = ["AT_PRODUCTS", "AT_TAPS", "IN_OUTLETS", "Cost", "Place", "Truth", "truth_of"]
