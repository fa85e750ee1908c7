"""Where a few numbers a day say that a tap's level did not step, a look at every glass says so too."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from datetime import date, timedelta

import pytest

from findings import trade
from unrung.findings.facts import Window
from unrung.findings.fills import Fill, Part
from unrung.findings.glass_series import Series, series_of
from unrung.findings.glasses import Cell
from unrung.findings.no_step import stays
from unrung.findings.plain import Kept
from unrung.findings.statistics import change_point, exact_sums, spread
from unrung.ledger.facts import DayFacts

LEAST, ERRORS = 20, 5.0
SETTINGS = trade.settings()


def series_with(days: Sequence[Sequence[tuple[int, float]]]) -> Series:
    """A tap's glasses, day by day: item, and metered over set less 1."""
    window = Window(
        tuple(DayFacts(date(2026, 3, 1) + timedelta(days=n), (0, 1)) for n in range(len(days))), SETTINGS)
    fills = []
    for item in sorted({item for day in days for item, _ in day}):
        parts = []
        for number, day in enumerate(days):
            own = [(at, ratio) for at, (of, ratio) in enumerate(day) if of == item]
            if own:
                numbers, ratios = [at for at, _ in own], [ratio for _, ratio in own]
                parts.append(Part(number, 1000 * number, Kept(numbers, ratios, exact_sums(ratios))))
        fills.append(Fill(Cell("Bar", "Ale", "T1", str(item), "", 500_000), parts))
    return series_of(window, fills)


def clearest(series: Series) -> float:
    """Of a step where squares are saved most, in standard errors of its shorter side."""
    values = series.values
    at, _ = change_point(values, LEAST)
    if not at:
        return 0.0
    shorter, longer = sorted((values[:at], values[at:]), key=len)
    step = abs(sum(longer) / len(longer) - sum(shorter) / len(shorter))
    return step / max(spread(shorter) / math.sqrt(len(shorter)), 1e-9)


def month(seed: int, glasses: int, step: float, days: int = 28) -> Series:
    """Days of about so many glasses of three items; from a random day on all are ``step`` fuller."""
    chance = random.Random(seed)
    from_day = chance.randrange(days)
    return series_with([
        [
            (item := chance.choices((0, 1, 2), (7, 2, 1))[0],
             chance.gauss(0.02 * item + step * (day >= from_day), 0.03))
            for _ in range(max(1, round(chance.gauss(glasses, glasses / 3))))
        ]
        for day in range(days)
    ])


@pytest.mark.parametrize("glasses", [3, 25, 60])
@pytest.mark.parametrize("step", [0.0, 0.004, 0.01, 0.03, 0.08])
def test_no_step_is_passed_over(glasses: int, step: float) -> None:
    every = [month(seed, glasses, step) for seed in range(12)]
    assert all(clearest(series) < ERRORS for series in every if stays(series, ERRORS, LEAST))


def test_most_months_of_a_steady_tap_are_told_without_a_look_at_every_glass() -> None:
    every = [month(seed, 60, 0.0) for seed in range(20)]
    assert sum(stays(series, ERRORS, LEAST) for series in every) >= 15


def test_what_was_kept_of_a_day_serves_with_other_means_as_well() -> None:
    """A day's reach is counted about the means of the window that saw it first."""
    days = [[(n % 2, 0.01 * (n % 3)) for n in range(30)] for _ in range(6)]
    fuller = [[(item, ratio + 0.2) for item, ratio in day] for day in days]
    series = series_with([*days, *fuller])
    known = [day.outline._replace(usual=[one - 0.1 for one in day.outline.usual]) for day in series.days]
    moved = Series([day._replace(outline=own) for day, own in zip(series.days, known, strict=True)],
                   series.starts, series.count)
    assert clearest(moved) > ERRORS
    assert not stays(moved, ERRORS, LEAST)


def test_a_tap_with_too_few_glasses_for_a_step_has_none() -> None:
    assert stays(series_with([[(0, 0.0)] * 10, [(0, 0.5)] * 20]), ERRORS, LEAST)
