"""The till's clock against the meters'."""

from __future__ import annotations

import bisect
from typing import Literal

from simulator.losses import LossPlan
from simulator.model import SimClock
from simulator.rates import RATES, stream
from simulator.trade import Day

ClockKind = Literal["exact", "steady", "drift", "jump"]


class TillClock:
    """What the till's clock shows at a true time."""

    def __init__(self, seed: int, days: list[Day], kind: ClockKind, plan: LossPlan) -> None:
        self.spans = _spans(seed, days, kind, plan)
        self._starts = [span.from_ms for span in self.spans]
        self._step = 1000 * int(RATES["noise"]["till_resolution_s"])

    def offset_ms(self, true_ms: int) -> int:
        """Till minus meter at a true time."""
        return self.spans[max(0, bisect.bisect_right(self._starts, true_ms) - 1)].offset_ms

    def shown_ms(self, true_ms: int) -> int:
        """The till's time, cut to its resolution."""
        shown = true_ms + self.offset_ms(true_ms)
        return shown // self._step * self._step


def _spans(seed: int, days: list[Day], kind: ClockKind, plan: LossPlan) -> list[SimClock]:
    rates, rng = RATES["clock"], stream(seed, "clock")
    base = 1000 * rates["steady_sd_s"] * float(rng.normal())
    wander = 1000 * rates["daily_sd_s"] * rng.normal(size=len(days))
    jump_day = int(rng.integers(len(days) // 3, max(len(days) // 3 + 1, len(days))))
    spans: list[SimClock] = []
    for day in days:
        at = 0.0 if kind == "exact" else base + float(wander[day.index])
        if kind == "drift":
            at += 1000 * rates["drift_s_per_day"] * (day.index % 7)
        if kind == "jump" and day.index > jump_day:
            at += 1000 * rates["jump_s"]
        spans += _wrong(day, at, plan, len(days))
        if kind == "jump" and day.index == jump_day:
            spans.append(SimClock(_evening(day), round(at + 1000 * rates["jump_s"])))
    return sorted(spans, key=lambda span: span.from_ms)


def _wrong(day: Day, at: float, plan: LossPlan, days: int) -> list[SimClock]:
    """The day's offset, with the clock set wrong in the evening of the first day of the loss and
    right again in the evening of its last."""
    first, last = plan.offset_days
    wrong = at + 1000 * RATES["losses"]["clock_offset"]["offset_s"] * plan.of("clock_offset")
    before = wrong if first < day.index <= last else at
    after = wrong if first <= day.index < last else at
    spans = [SimClock(day.start_ms, round(before))]
    if before != after:
        spans.append(SimClock(_evening(day), round(after)))
    return spans


def _evening(day: Day) -> int:
    return day.opens_ms + (day.closes_ms - day.opens_ms) // 2
