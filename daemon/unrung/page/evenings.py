"""Poured against rung through the day, product by product, with the single serves below."""

from __future__ import annotations

from collections import defaultdict

from unrung.alerts.wording import shown_name, shown_serve, shown_steps, shown_volume
from unrung.issue.summary import DaySummary, SummaryRow
from unrung.ledger.results import DayLedger, Leaf, Lone
from unrung.page import charts
from unrung.page.charts import Axis
from unrung.page.model import Evening, Single
from unrung.settings import Settings
from unrung.venue_time import clock

MOST_LISTED = 40
"""Single serves listed per product; all are in unmatched-D.csv."""


def moved(row: SummaryRow) -> bool:
    """Whether anything was poured or rung."""
    return bool(row.whole.poured or row.whole.rung)


def evenings(
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
    rows = sorted((row for row in summary.rows if moved(row)),
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
            f"{shown_steps(whole.poured, settings)} poured, {shown_steps(whole.rung, settings)} rung, "
            f"{shown_steps(whole.poured_not_rung, settings)} not rung"
        ),
        bars=charts.pairs_of_bars(axis, windows, most),
        pour_dots=charts.dots(axis, [(o.at_ms, o.volume_ul) for o in lone if o.kind == "pour"], largest),
        ring_dots=charts.dots(axis, [(o.at_ms, o.volume_ul) for o in lone if o.kind == "ring"], largest),
        most=shown_volume(most, settings),
        table=[
            (clock(at, settings), shown_volume(poured, settings), shown_volume(rung, settings))
            for at, poured, rung in windows
        ],
        singles=[_single(one, settings) for one in lone[:MOST_LISTED]],
        more=max(0, len(lone) - MOST_LISTED),
    )


def _single(one: Lone, settings: Settings) -> Single:
    kinds = {"pour": "poured, not rung", "ring": "rung, not poured", "log": "written down, no pour"}
    sure = "another pour is as likely" if one.uncertain else ""
    return Single(clock(one.at_ms, settings), kinds[one.kind], shown_serve(one.volume_ul, settings),
                  shown_name(one.tap), sure)
