"""The day's findings as things to look at, the costliest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from itertools import groupby

from unrung.alerts.rules import Raised
from unrung.alerts.wording import shown_name, shown_volume
from unrung.ledger.results import DayLedger, FindingRow
from unrung.mail.actions import Action
from unrung.settings import LEAST_LOSS, Settings
from unrung.units import to_ul

JUDGING = ("serves_without_ring",)
"""Findings that only a venue whose usual losses are known is told by mail."""


def cause_actions(
    ledger: DayLedger, settings: Settings, *, judged: bool = True
) -> list[Action]:
    """One action per finding and place. What never came to the least loss worth an alert stands in
    the findings file alone; what costs nothing by itself, such as a wrong clock, comes last. On a day
    that is not ``judged``, serves without a ring are left to the file as well."""
    least = to_ul(LEAST_LOSS[settings.venue.volume_unit], settings.venue.volume_unit)
    prices = {(it.outlet, it.product): it.cost_minor_per_litre for it in ledger.products}
    told = [row for row in ledger.findings if judged or row.finding not in JUDGING]
    groups = [list(rows) for _, rows in groupby(told, key=_place)]
    worth = [
        rows for rows in groups
        if not any(row.volume_ul for row in rows)
        or abs(rows[0].total_ul) >= least
    ]
    worth.sort(key=lambda rows: (-_cost(rows, prices), -sum(row.volume_ul for row in rows)))
    return [_action(rows, _cost(rows, prices), settings) for rows in worth]


def without_repeats(raised: Iterable[Raised], ledger: DayLedger) -> list[Raised]:
    """Alerts less those whose beer the findings mostly explain: one place is told once."""
    return [one for one in raised if not 0 < one.volume_ul <= 2 * _explained(one, ledger)]


def _explained(one: Raised, ledger: DayLedger) -> int:
    """What findings explain of the place and span of an alert, at most."""
    named = [
        row for row in ledger.findings
        if one.outlet in ("", row.outlet) and one.product in ("", row.product)
        and (one.window_start_ms is None or row.finding == "serves_without_ring")
    ]
    return sum(max(0, row.volume_ul) for row in named)


def _place(row: FindingRow) -> tuple[str, str, str, str]:
    return (row.finding, row.outlet, row.tap, row.headline)


def _cost(rows: Sequence[FindingRow], prices: dict[tuple[str, str], float | None]) -> int:
    """Of the beer over, in minor units; 0 where no cost is known."""
    return sum(
        round(Decimal(prices.get((row.outlet, row.product)) or 0) * row.volume_ul / 1_000_000)
        for row in rows
    )


def _action(rows: Sequence[FindingRow], cost_minor: int, settings: Settings) -> Action:
    first = rows[0]
    volume = sum(row.volume_ul for row in rows)
    amount = f": {shown_volume(volume, settings)}" if volume else ""
    place = shown_name(first.outlet, 40) or "Whole venue"
    place += f", tap {shown_name(first.tap, 12)}" if first.tap else ""
    doubt = " Another reading explains it as well." if first.confidence == "low" else ""
    return Action(
        f"{first.headline}{amount}", place, first.minutes, first.check_first, first.caution,
        cost_minor if cost_minor > 0 else None, first.evidence + doubt,
    )
