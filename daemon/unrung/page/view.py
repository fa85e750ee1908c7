"""What the day's page says and shows, made from the ledger; figures are those of the summary."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from babel.dates import format_date

from unrung.alerts.wording import (
    locale_of,
    shown_name,
    shown_number,
    shown_share,
    shown_time,
    shown_volume,
)
from unrung.issue.summary import DaySummary, SummaryRow, day_summary
from unrung.ledger.results import DayLedger, FindingRow, Leaf, Lone
from unrung.page import charts
from unrung.page.charts import Axis, Box, Dot, Tick
from unrung.settings import Settings

HOUR_MS = 3_600_000
MOST_LISTED = 40
"""Single serves listed per product; all are in unmatched-D.csv."""


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


STATUS = {
    "final": "all feeds cover the day",
    "provisional": "the day is not over",
    "incomplete": "a feed does not cover the day",
}


def page_view(ledger: DayLedger, settings: Settings, revision: int) -> PageView:
    """The page of one day. Pure, without clock: called twice it is the same."""
    summary = day_summary(ledger, settings)
    axis = _axis(ledger, settings)
    locale = locale_of(settings.venue.locale)
    return PageView(
        venue=shown_name(settings.venue.name),
        day=format_date(ledger.day, "full", locale),
        day_iso=ledger.day.isoformat(),
        lang=str(locale.language),
        unit=summary.unit_label,
        revision=revision,
        status=STATUS[ledger.status],
        headline=_headline(summary, settings),
        leads=[shown_name(one, 200) for one in ledger.missing],
        notes=[shown_name(one, 240) for one in ledger.notices],
        findings=_findings(ledger, settings),
        poured_parts=_poured_parts(summary, settings),
        rung_parts=_rung_parts(summary, settings),
        equation=_equation(summary, settings),
        rung_equation=_rung_equation(summary, settings),
        rows=[_row(row, settings) for row in summary.rows if _moved(row)],
        total=_row(summary.total, settings),
        ticks=_ticks(axis, settings),
        evenings=_evenings(ledger, summary, axis, settings),
    )


def _findings(ledger: DayLedger, settings: Settings) -> list[Note]:
    """One note per finding: its rows of several products together, the largest volume first."""
    groups: dict[tuple[str, str, str], list[FindingRow]] = defaultdict(list)
    for row in ledger.findings:
        groups[row.finding, row.headline, row.evidence].append(row)
    ordered = sorted(groups.values(), key=lambda rows: -abs(sum(row.volume_ul for row in rows)))
    return [_note(rows, settings) for rows in ordered]


def _note(rows: Sequence[FindingRow], settings: Settings) -> Note:
    first = rows[0]
    products = ", ".join(dict.fromkeys(shown_name(row.product) for row in rows if row.product))
    place = ", ".join(text for text in (shown_name(first.outlet), products) if text)
    volume = sum(row.volume_ul for row in rows)
    return Note(
        title=shown_name(first.headline, 120), place=place,
        volume=f"{shown_volume(volume, settings)} of this day" if volume else "",
        evidence=f"{shown_name(first.evidence, 400)} Confidence: {first.confidence}.",
        check_first=" ".join(text for text in (first.check_first, first.caution) if text),
    )


def _headline(summary: DaySummary, settings: Settings) -> str:
    whole = summary.total.whole
    share = summary.total.poured_not_rung_pct
    said = "" if share is None else f" ({shown_share(float(share) / 100, settings)} of the beer compared)"
    number = shown_number(whole.poured_not_rung, settings)
    return (
        f"{shown_number(whole.poured, settings)} {summary.unit_label} poured, "
        f"{shown_number(whole.rung, settings)} rung; {number}{said} poured without a ring."
    )


def _poured_parts(summary: DaySummary, settings: Settings) -> list[Part]:
    whole = summary.total.whole
    parts = [
        ("paired with rings, as poured", whole.matched_portion + whole.portion_difference, "paired"),
        ("written down", whole.logged, "logged"),
        ("poured, not rung", whole.poured_not_rung, "lost"),
        ("not compared", whole.poured_not_compared, "apart"),
        ("not beer", whole.not_beer, "apart"),
    ]
    return _parts(parts, max(whole.poured, whole.rung), settings)


def _rung_parts(summary: DaySummary, settings: Settings) -> list[Part]:
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
        Part(name, shown_number(volume, settings), box, look)
        for (name, volume, look), box in zip(parts, boxes, strict=True)
    ]


def _equation(summary: DaySummary, settings: Settings) -> list[tuple[str, str]]:
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
    return [(name, shown_number(volume, settings)) for name, volume in lines]


def _rung_equation(summary: DaySummary, settings: Settings) -> list[tuple[str, str]]:
    whole = summary.total.whole
    lines = [
        ("Set portions of the rings that found their pour", whole.matched_portion),
        ("Rung, not poured", whole.rung_not_poured),
        ("Not compared", whole.rung_not_compared),
        ("Rung", whole.rung),
    ]
    return [(name, shown_number(volume, settings)) for name, volume in lines]


def _row(row: SummaryRow, settings: Settings) -> list[str]:
    whole = row.whole
    share = "" if row.variance_pct is None else shown_share(float(row.variance_pct) / 100, settings)
    figures = (whole.poured, whole.rung, whole.portion_difference, whole.logged, whole.poured_not_rung,
               whole.rung_not_poured, whole.variance)
    name = shown_name(row.product) or "Total"
    return [name, shown_name(row.outlet), *(shown_number(one, settings) for one in figures), share]


def _moved(row: SummaryRow) -> bool:
    return bool(row.whole.poured or row.whole.rung)


def _axis(ledger: DayLedger, settings: Settings) -> Axis:
    """From the first to the last window in which anything moved."""
    step = settings.files.window_minutes * 60_000
    busy = [leaf.window_start_ms for leaf in ledger.leaves if leaf.volumes.poured or leaf.volumes.rung]
    start = min(busy, default=0)
    return Axis(start, max(busy, default=start) + step, step)


def _ticks(axis: Axis, settings: Settings) -> list[Tick]:
    hours = max(1, round((axis.end_ms - axis.start_ms) / HOUR_MS))
    every = max(1, -(-hours // 8)) * HOUR_MS
    return [
        Tick(axis.x(at), shown_time(at, settings)) for at in range(axis.start_ms, axis.end_ms, every)
    ]


def _evenings(
    ledger: DayLedger, summary: DaySummary, axis: Axis, settings: Settings
) -> list[Evening]:
    leaves: dict[tuple[str, str], list[Leaf]] = defaultdict(list)
    lone: dict[tuple[str, str], list[Lone]] = defaultdict(list)
    for leaf in ledger.leaves:
        leaves[leaf.outlet, leaf.product].append(leaf)
    for one in ledger.lone:
        lone[one.outlet, one.product].append(one)
    most = max((max(leaf.volumes.poured, leaf.volumes.rung) for leaf in ledger.leaves), default=1)
    largest = max((one.volume_ul for one in ledger.lone), default=1)
    rows = sorted((row for row in summary.rows if _moved(row)),
                  key=lambda row: (-row.whole.poured_not_rung, row.outlet, row.product))
    return [
        _evening(row, leaves[row.outlet, row.product], lone[row.outlet, row.product], axis, most, largest,
                 settings)
        for row in rows
    ]


def _evening(
    row: SummaryRow, leaves: list[Leaf], lone: list[Lone], axis: Axis, most: int, largest: int,
    settings: Settings,
) -> Evening:
    windows = [(leaf.window_start_ms, leaf.volumes.poured, leaf.volumes.rung) for leaf in leaves]
    whole = row.whole
    return Evening(
        title=f"{shown_name(row.product)}, {shown_name(row.outlet)}",
        summary=(
            f"{shown_number(whole.poured, settings)} poured, {shown_number(whole.rung, settings)} rung, "
            f"{shown_number(whole.poured_not_rung, settings)} not rung"
        ),
        bars=charts.pairs_of_bars(axis, windows, most),
        pour_dots=charts.dots(axis, [(o.at_ms, o.volume_ul) for o in lone if o.kind == "pour"], largest),
        ring_dots=charts.dots(axis, [(o.at_ms, o.volume_ul) for o in lone if o.kind == "ring"], largest),
        most=shown_volume(most, settings),
        table=[
            (shown_time(at, settings), shown_volume(poured, settings), shown_volume(rung, settings))
            for at, poured, rung in windows
        ],
        singles=[_single(one, settings) for one in lone[:MOST_LISTED]],
        more=max(0, len(lone) - MOST_LISTED),
    )


def _single(one: Lone, settings: Settings) -> Single:
    kinds = {"pour": "poured, not rung", "ring": "rung, not poured", "log": "written down, no pour"}
    sure = "another pour is as likely" if one.uncertain else ""
    return Single(shown_time(one.at_ms, settings), kinds[one.kind], shown_volume(one.volume_ul, settings),
                  shown_name(one.tap), sure)
