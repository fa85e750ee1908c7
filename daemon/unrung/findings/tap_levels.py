"""How full each tap pours beside its outlet's others, and when that stepped.

A tap's *level* is what its glasses hold over their portions (a share), less what all taps of the
outlet have in common. Within a tap it is the middle of its menu items, so that one item with a wrong
portion is not taken for the tap. Where the level steps, the window is cut there (change point by least
squares), and each piece has a level of its own.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from statistics import NormalDist, fmean, median
from typing import NamedTuple

from unrung.findings.facts import Facts
from unrung.findings.fills import FEW, SMALLEST_DAY, Fill, Steady, fills_of
from unrung.findings.glass_series import Series, series_of
from unrung.findings.glasses import Cell
from unrung.findings.no_step import stays
from unrung.findings.statistics import (
    change_point,
    cusum,
    ewma,
    ewma_limits,
    individuals,
    spread,
)

MOST_COMMON = 0.015
"""What all taps may have in common without being asked about: the team's way of pouring."""
LEAST_SERVES = 20
"""In a piece of the window."""
MOST_CUTS = 3
CLEAR = 3e-4
"""Chance of a step, over all places at which it might have been."""
CUSUM_SLACK, CUSUM_LIMIT = 0.5, 4.5
"""In standard deviations of a day's mean."""
EWMA_WEIGHT = 0.3


@dataclass(frozen=True)
class Piece:
    """Part of the window in which a tap's level did not step."""

    first: int
    last: int
    """Keys of its first and last plain serve."""
    glasses: int
    level: float
    steady: Steady
    chance: float = 1.0
    """Of the step that it began with; 1 where it begins with the window."""
    alike: bool = True
    """Whether every item shares the tap's way in it: one item that steps alone is no step of the tap."""


@dataclass(frozen=True)
class Tap:
    """One tap with its pieces; ``agrees``: its items differ from their portions alike."""

    tap: str
    outlet: str
    pieces: list[Piece]
    agrees: bool


def tap_levels(facts: Facts) -> list[Tap]:
    """Every tap with enough plain serves, sorted by name."""
    return facts.once("tap levels", _levels)


def _levels(facts: Facts) -> list[Tap]:
    by_tap: dict[str, list[Fill]] = defaultdict(list)
    for cell, fill in fills_of(facts).items():
        by_tap[cell.tap].append(fill)
    own = {
        tap: facts.once_at(tap, "level", partial(_own, facts, fills)) for tap, fills in sorted(by_tap.items())
    }
    common: dict[str, list[float]] = defaultdict(list)
    for tap, fills in by_tap.items():
        common[fills[0].cell.outlet].append(own[tap].middle)
    bases = {
        outlet: max(-MOST_COMMON, min(MOST_COMMON, median(levels))) for outlet, levels in common.items()
    }
    return [_tap(tap, level, bases[level.outlet]) for tap, level in own.items()]


def middle_of(fills: Sequence[Fill]) -> float:
    """The middle of a tap's items: of two that disagree, the one nearer to its portion."""
    means = [fill.mean for fill in fills if fill.count >= FEW] or [fill.mean for fill in fills]
    if len(means) == 2:
        errors = sum(fill.error**2 for fill in fills if fill.mean in means)
        if abs(means[0] - means[1]) > 3 * math.sqrt(errors) + 0.01:
            return min(means, key=abs)
        return fmean(means)
    return median(means)


class _Own(NamedTuple):
    """A tap by itself; its pieces' levels are about ``middle``."""

    outlet: str
    middle: float
    agrees: bool
    pieces: list[Piece]


def _tap(tap: str, own: _Own, base: float) -> Tap:
    """A tap beside its outlet's others."""
    pieces = [replace(piece, level=own.middle - base + piece.level) for piece in own.pieces]
    return Tap(tap, own.outlet, pieces, own.agrees)


def _own(facts: Facts, fills: list[Fill]) -> _Own:
    middle = middle_of(fills)
    series = series_of(facts.window, fills)
    cuts = _cuts(series)
    edges = pairwise([0, *sorted(cuts), series.count])
    pieces = [_piece(series, low, high, cuts) for low, high in edges if low < high]
    return _Own(fills[0].cell.outlet, middle, _agree(fills, middle), pieces)


def _piece(series: Series, low: int, high: int, cuts: Mapping[int, float]) -> Piece:
    """All glasses together are about their own mean: uncut, they lie at 0."""
    mean, alike = 0.0, True
    if cuts:
        part = series.values[low:high]
        mean = fmean(part)
        alike = _alike(zip(series.items(low, high), part, strict=True), mean)
    steady = Steady(lambda: [values for _, values in series.by_day(low, high)])
    return Piece(series.key(low), series.key(high - 1), high - low, mean, steady, cuts.get(low, 1.0), alike)


def _alike(part: Iterable[tuple[Cell, float]], shift: float) -> bool:
    """Whether every item with enough serves in a piece of the window shifted with the tap."""
    items: dict[Cell, list[float]] = defaultdict(list)
    for cell, value in part:
        items[cell].append(value)
    return all(
        abs(fmean(values) - shift) <= 4 * max(spread(values), 0.005) / math.sqrt(len(values)) + 0.01
        for values in items.values() if len(values) >= FEW
    )


def _agree(fills: Sequence[Fill], middle: float) -> bool:
    """Whether every item with enough serves is near the tap's middle."""
    return all(_is_near(fill, middle) for fill in fills if fill.count >= FEW)


def _is_near(fill: Fill, middle: float) -> bool:
    apart = abs(fill.mean - middle)
    return apart <= 4 * fill.least_error + 0.01 or apart <= 4 * fill.error + 0.01


def _cuts(series: Series) -> dict[int, float]:
    """Where the level steps: index of the first serve after each step, to its chance."""
    found: dict[int, float] = {}
    if stays(series, -NormalDist().inv_cdf(CLEAR / (2 * series.count)), LEAST_SERVES):
        return found
    parts = [(0, series.count)]
    while parts and len(found) < MOST_CUTS:
        low, high = parts.pop(0)
        at, chance = _step(series, low, high)
        if at:
            found[low + at] = chance
            parts += [(low, low + at), (low + at, high)]
    return found


def _step(series: Series, low: int, high: int) -> tuple[int, float]:
    """(first index from ``low`` on after the clearest step up to ``high``, its chance); (0, 1) where none
    stands clear."""
    values = series.values[low:high]
    at, _ = change_point(values, LEAST_SERVES)
    if not at:
        return 0, 1.0
    shorter, longer = sorted((values[:at], values[at:]), key=len)
    step = abs(fmean(longer) - fmean(shorter))
    error = spread(shorter) / math.sqrt(len(shorter))
    # Most are not clear even of the noise on one side: the other is not looked at.
    if _chance(step, error, len(values)) >= CLEAR:
        return 0, 1.0
    chance = _chance(step, math.hypot(error, spread(longer) / math.sqrt(len(longer))), len(values))
    if chance < CLEAR and _daily(series, low, high, low + at):
        return at, chance
    return 0, 1.0


def _chance(step: float, sigma: float, places: int) -> float:
    """Of a step this far beyond its error, at any of so many places."""
    z = step / max(sigma, 1e-9)
    return min(1.0, places * 2 * NormalDist().cdf(-z))


def _daily(series: Series, low: int, high: int, at: int) -> bool:
    """Whether a CUSUM or an EWMA of the days' means about the level before signals too: serves of one
    day may lean one way together. With too few days before, the serves alone must do."""
    step_day = series.day(at)
    means = [
        (day, fmean(values)) for day, values in series.by_day(low, high) if len(values) >= SMALLEST_DAY
    ]
    before = [mean for day, mean in means if day < step_day]
    after = [mean for day, mean in means if day >= step_day]
    if len(before) < 3 or len(after) < 2:
        return True
    limits = individuals([mean for _, mean in means])
    sigma = max((limits.high - limits.centre) / 3, 1e-6)
    usual = fmean(before)
    above, below = cusum(after, usual, CUSUM_SLACK * sigma)
    limits = ewma_limits(usual, sigma, EWMA_WEIGHT)
    drifted = any(not limits.low <= level <= limits.high for level in ewma(after, usual, EWMA_WEIGHT))
    return drifted or max(*above, *below) > CUSUM_LIMIT * sigma


