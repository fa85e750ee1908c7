"""What the page's template is given: every text and figure, already in words."""

from __future__ import annotations

from dataclasses import dataclass, field

from unrung.page import charts
from unrung.page.charts import Box, Dot, Tick


@dataclass(frozen=True, slots=True)
class Note:
    """A finding as the page tells it."""

    title: str
    place: str
    volume: str
    evidence: str
    check_first: str


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the ledger: its name, its figure, and where it stands in the picture."""

    name: str
    volume: str
    box: Box
    look: str


@dataclass(frozen=True, slots=True)
class Single:
    """A pour or ring without a partner, as listed."""

    time: str
    kind: str
    volume: str
    tap: str
    sure: str


@dataclass(frozen=True, slots=True)
class Evening:
    """One product of one outlet: its chart and what the chart shows, in words and in a table."""

    title: str
    summary: str
    bars: list[tuple[Box, Box]]
    pour_dots: list[Dot]
    ring_dots: list[Dot]
    most: str
    table: list[tuple[str, str, str]]
    singles: list[Single]
    more: int


@dataclass(frozen=True, slots=True)
class PageView:
    """Everything the template needs, already in words."""

    venue: str
    day: str
    day_iso: str
    lang: str
    unit: str
    revision: int
    status: str
    headline: str
    leads: list[str]
    notes: list[str]
    findings: list[Note]
    fixes: list[str]
    poured_parts: list[Part]
    rung_parts: list[Part]
    equation: list[tuple[str, str]]
    rung_equation: list[tuple[str, str]]
    rows: list[list[str]]
    total: list[str]
    ticks: list[Tick]
    evenings: list[Evening] = field(default_factory=list)
    chart_height: float = charts.height()
    chart_width: float = charts.WIDTH
