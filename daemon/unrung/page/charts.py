"""Coordinates of the page's charts, in SVG user units. Pure numbers; no text, no colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

WIDTH = 720.0
LEFT, RIGHT = 44.0, 8.0
BARS = 72.0
"""Height of the tallest bar."""
STRIP = 22.0
"""Height of the strip of single serves below the bars."""
AXIS = 18.0


class Box(NamedTuple):
    """A bar."""

    x: float
    y: float
    width: float
    height: float


class Dot(NamedTuple):
    """A single serve or ring: where it stands, and how large it is drawn."""

    x: float
    y: float
    radius: float


class Tick(NamedTuple):
    """A mark on the time axis."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class Axis:
    """The span of time that all charts of a page share; UTC milliseconds."""

    start_ms: int
    end_ms: int
    step_ms: int

    def x(self, at_ms: float) -> float:
        """Where a moment stands; moments outside are drawn at the edge."""
        share = (at_ms - self.start_ms) / max(1, self.end_ms - self.start_ms)
        return round(LEFT + min(max(share, 0.0), 1.0) * (WIDTH - LEFT - RIGHT), 1)


def pairs_of_bars(
    axis: Axis, windows: Sequence[tuple[int, int, int]], most: int
) -> list[tuple[Box, Box]]:
    """For each (start_ms, poured, rung) the two bars side by side; ``most`` is the tallest."""
    slot = axis.x(axis.start_ms + axis.step_ms) - axis.x(axis.start_ms)
    half = round(slot * 0.4, 1)
    made = []
    for start_ms, poured, rung in windows:
        x = axis.x(start_ms) + slot * 0.1
        made.append((_bar(x, half, poured, most), _bar(x + half, half, rung, most)))
    return made


def dots(axis: Axis, moments: Sequence[tuple[int, int]], largest: int) -> list[Dot]:
    """For each (at_ms, volume) a dot whose area grows with the volume."""
    y = BARS + STRIP / 2 + 4
    return [
        Dot(axis.x(at_ms), y, round(2.5 + 4.5 * (volume / max(1, largest)) ** 0.5, 1))
        for at_ms, volume in moments
    ]


def segments(parts: Sequence[int], whole: int) -> list[Box]:
    """Parts of one stacked bar that is as wide as ``whole``; parts of nothing have no width."""
    scale = (WIDTH - 2.0) / max(1, whole)
    x, made = 1.0, []
    for part in parts:
        width = round(max(0, part) * scale, 1)
        made.append(Box(round(x, 1), 0.0, width, 34.0))
        x += width
    return made


def height() -> float:
    """Of a product's chart, axis included."""
    return BARS + STRIP + AXIS + 8


def _bar(x: float, width: float, value: int, most: int) -> Box:
    tall = round(BARS * value / max(1, most), 1)
    return Box(round(x, 1), round(BARS - tall + 2, 1), width, tall)
