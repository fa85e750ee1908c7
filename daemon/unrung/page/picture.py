"""The ledger as a picture that foots, and the same in figures."""

from __future__ import annotations

from unrung.alerts.wording import shown_steps
from unrung.issue.summary import DaySummary
from unrung.page import charts
from unrung.page.model import Part
from unrung.settings import Settings


def poured_parts(summary: DaySummary, settings: Settings) -> list[Part]:
    whole = summary.total.whole
    parts = [
        ("paired with rings, as poured", whole.matched_portion + whole.portion_difference, "paired"),
        ("written down", whole.logged, "logged"),
        ("poured, not rung", whole.poured_not_rung, "lost"),
        ("not compared", whole.poured_not_compared, "apart"),
        ("not beer", whole.not_beer, "apart"),
    ]
    return _parts(parts, max(whole.poured, whole.rung), settings)


def rung_parts(summary: DaySummary, settings: Settings) -> list[Part]:
    whole = summary.total.whole
    parts = [
        ("paired with pours, as rung", whole.matched_portion, "paired"),
        ("rung, not poured", whole.rung_not_poured, "lost"),
        ("not compared", whole.rung_not_compared, "apart"),
    ]
    return _parts(parts, max(whole.poured, whole.rung), settings)


def _parts(parts: list[tuple[str, int, str]], most: int, settings: Settings) -> list[Part]:
    boxes = charts.segments([volume for _, volume, _ in parts], most)
    return [
        Part(name, shown_steps(volume, settings), box, look)
        for (name, volume, look), box in zip(parts, boxes, strict=True)
    ]


def equation(summary: DaySummary, settings: Settings) -> list[tuple[str, str]]:
    whole = summary.total.whole
    lines = [
        ("Set portions of the rings that found their pour", whole.matched_portion),
        ("Poured over or under those portions", whole.portion_difference),
        ("Written down: comps, waste, cleaning, keg changes", whole.logged),
        ("Poured, not rung", whole.poured_not_rung),
        ("Not compared: only one side's records cover it", whole.poured_not_compared),
        ("Not beer: water, cleaner, gas", whole.not_beer),
        ("Poured", whole.poured),
    ]
    return [(name, shown_steps(volume, settings)) for name, volume in lines]


def rung_equation(summary: DaySummary, settings: Settings) -> list[tuple[str, str]]:
    whole = summary.total.whole
    lines = [
        ("Set portions of the rings that found their pour", whole.matched_portion),
        ("Rung, not poured", whole.rung_not_poured),
        ("Not compared", whole.rung_not_compared),
        ("Rung", whole.rung),
    ]
    return [(name, shown_steps(volume, settings)) for name, volume in lines]
