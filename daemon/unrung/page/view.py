"""What the day's page says and shows, made from the ledger; figures are those of the summary."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from unrung.alerts.wording import (
    shown_name,
    shown_share,
    shown_steps,
    shown_volume,
)
from unrung.by_locale import full_stop, locale_of, long_day_text
from unrung.issue.summary import DaySummary, SummaryRow, day_summary
from unrung.ledger.explained import explained_ul
from unrung.ledger.results import DayLedger, FindingRow
from unrung.page.charts import Axis, Tick
from unrung.page.evenings import evenings, moved
from unrung.page.model import Note, PageView
from unrung.page.picture import equation, poured_parts, rung_equation, rung_parts
from unrung.settings import Settings
from unrung.venue_time import clock

HOUR_MS = 3_600_000


STATUS = {
    "final": "final, all feeds cover the day",
    "provisional": "the day is not over",
    "incomplete": "provisional, a feed does not cover the day",
}


def page_view(ledger: DayLedger, settings: Settings, revision: int) -> PageView:
    """The page of one day. Pure, without clock: called twice it is the same."""
    summary = day_summary(ledger, settings)
    axis = _axis(ledger, settings)
    return PageView(
        venue=shown_name(settings.venue.name),
        day=long_day_text(ledger.day, settings.venue.locale),
        day_iso=ledger.day.isoformat(),
        lang=str(locale_of(settings.venue.locale).language),
        unit=summary.unit_label,
        revision=revision,
        status=STATUS[ledger.status],
        headline=_headline(summary, settings),
        leads=[full_stop(shown_name(one, 200)) for one in ledger.missing],
        notes=[shown_name(one, 240) for one in ledger.notices],
        findings=_findings(ledger, settings),
        fixes=[shown_name(fix.sentence, 400) for fix in ledger.fixes],
        poured_parts=poured_parts(summary, settings),
        rung_parts=rung_parts(summary, settings),
        equation=equation(summary, settings),
        rung_equation=rung_equation(summary, settings),
        rows=[_row(row, settings) for row in summary.rows if moved(row)],
        total=_row(summary.total, settings),
        ticks=_ticks(axis, settings),
        evenings=evenings(ledger, summary, axis, settings),
    )


def _findings(ledger: DayLedger, settings: Settings) -> list[Note]:
    """One note per finding: its rows of several products together, the largest volume first."""
    groups: dict[tuple[str, str, str], list[FindingRow]] = defaultdict(list)
    for row in ledger.findings:
        groups[row.finding, row.headline, row.evidence].append(row)
    ordered = sorted(groups.values(), key=lambda rows: -abs(explained_ul(rows)))
    return [_note(rows, settings) for rows in ordered]


def _note(rows: Sequence[FindingRow], settings: Settings) -> Note:
    first = rows[0]
    products = ", ".join(dict.fromkeys(shown_name(row.product) for row in rows if row.product))
    place = ", ".join(text for text in (shown_name(first.outlet), products) if text)
    volume = explained_ul(rows)
    return Note(
        title=shown_name(first.headline, 120), place=place,
        volume=f"{shown_volume(abs(volume), settings)} of this day" if volume else "",
        evidence=f"{shown_name(first.evidence, 700)} Confidence: {first.confidence}.",
        check_first=" ".join(text for text in (first.check_first, first.caution) if text),
    )


def _headline(summary: DaySummary, settings: Settings) -> str:
    """The beer that was compared, as the morning mail says it."""
    whole = summary.total.whole
    share = summary.total.poured_not_rung_share
    said = "" if share is None else f" ({shown_share(share, settings)})"
    number = shown_steps(whole.poured_not_rung, settings)
    return (
        f"{shown_steps(whole.compared, settings)} {summary.unit_label} poured, "
        f"{shown_steps(whole.compared_rung, settings)} rung; {number}{said} poured without a ring."
    )


def _row(row: SummaryRow, settings: Settings) -> list[str]:
    whole = row.whole
    share = "" if row.variance_share is None else shown_share(row.variance_share, settings)
    figures = (whole.poured, whole.rung, whole.poured_not_rung, whole.rung_not_poured,
               whole.portion_difference, whole.logged, whole.variance)
    name = shown_name(row.product) or "Total"
    return [name, shown_name(row.outlet), *(shown_steps(one, settings) for one in figures), share]


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
        Tick(axis.x(at), clock(at, settings)) for at in range(axis.start_ms, axis.end_ms, every)
    ]
