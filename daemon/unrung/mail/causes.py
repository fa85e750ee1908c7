"""The day's findings as things to look at, the costliest first; open ones come back once a week."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from unrung.alerts.measures import TWO_HOURS_MS
from unrung.alerts.rules import Raised
from unrung.alerts.wording import shown_name, shown_volume
from unrung.business_day import business_day
from unrung.by_unit import LEAST_LOSS
from unrung.finding_names import OTHER_NAMES
from unrung.ledger.explained import explained_ul
from unrung.ledger.results import DayLedger, FindingRow
from unrung.mail.actions import Action
from unrung.mail.standing import Seen, Standing, days_open, is_due, moved_on
from unrung.mail.view import shown_cost
from unrung.settings import Settings
from unrung.units import to_ul

JUDGING = ("serves_without_ring",)
"""Findings that only a venue whose usual losses are known is told by mail."""

Prices = Mapping[tuple[str, str], float | None]


@dataclass(frozen=True, slots=True)
class CausesTold:
    """What a mail makes of the day's findings."""

    actions: tuple[Action, ...] = ()
    still_open: tuple[str, ...] = ()
    """Told in an earlier mail, open, and not due again: a few words each."""
    standing: tuple[tuple[str, Standing], ...] = ()
    """To be kept for the next mail."""


def causes_told(
    ledger: DayLedger, settings: Settings, *, judged: bool = True,
    known: Mapping[str, Standing] | None = None,
) -> CausesTold:
    """One action per finding and place. What never came to the least loss worth an alert stands in
    the findings file alone; what costs nothing by itself, such as a wrong clock, comes last. On a day
    that is not ``judged``, serves without a ring are left to the file as well. ``known``: what earlier
    mails told."""
    prices = {(it.outlet, it.product): it.cost_minor_per_litre for it in ledger.products}
    least = _least_ul(settings)
    actions: list[Action] = []
    quiet: list[str] = []
    standing: list[tuple[str, Standing]] = []
    worth = _worth_telling(ledger, prices, judged, least)
    counts = Counter(rows[0].headline for rows in worth)
    twice = {headline for headline, count in counts.items() if count > 1}
    for rows in worth:
        seen = _seen(rows, prices, ledger.day, settings)
        before = (known or {}).get(seen.key)
        told = is_due(before, seen, ledger.day, least)
        after = moved_on(before, seen, ledger.day, told=told)
        standing.append((seen.key, after))
        if told:
            actions.append(_action(rows, seen, after, _rank(rows, prices), ledger.day, settings))
        else:
            quiet.append(f"{_named(rows[0], twice)} ({open_for(after, ledger.day, settings)})")
    return CausesTold(tuple(actions), tuple(quiet), tuple(standing))


def without_repeats(raised: Iterable[Raised], ledger: DayLedger) -> list[Raised]:
    """Alerts less those whose beer the findings mostly explain: one place is told once."""
    return [one for one in raised if not 0 < one.volume_ul <= 2 * _explained(one, ledger)]


def open_for(one: Standing, day: date, settings: Settings) -> str:
    """Such as "open 12 days, about $96 so far"."""
    days = days_open(one, day)
    cost = f", {shown_cost(one.cost_minor, settings)} so far" if one.cost_minor > 0 else ""
    return f"open {days} {'day' if days == 1 else 'days'}{cost}"


def _worth_telling(
    ledger: DayLedger, prices: Prices, judged: bool, least_ul: int
) -> list[list[FindingRow]]:
    """The rows of each finding and place, the costliest first."""
    groups: dict[tuple[str, str, str, str], list[FindingRow]] = defaultdict(list)
    for row in ledger.findings:
        if judged or row.finding not in JUDGING:
            groups[_place(row)].append(row)  # other places' rows may stand between
    worth = [
        rows for rows in groups.values()
        if not any(row.volume_ul for row in rows) or abs(rows[0].total_ul) >= least_ul
    ]
    return sorted(worth, key=lambda rows: (-_rank(rows, prices), -explained_ul(rows)))


def _least_ul(settings: Settings) -> int:
    return to_ul(LEAST_LOSS[settings.venue.volume_unit], settings.venue.volume_unit)


def _seen(rows: Sequence[FindingRow], prices: Prices, day: date, settings: Settings) -> Seen:
    """The day's volume and cost of a finding, and its cost since it began at the day's mean price."""
    first, venue = rows[0], settings.venue
    lost = first.finding not in OTHER_NAMES and not _never_flowed(first)
    cost = _cost(rows, prices) if lost else 0
    whole = round(_mean_price(rows, prices) * first.total_ul) if lost else 0
    # A clock's headline holds the seconds, which wander.
    words = "" if first.finding == "clock_offset" else first.headline
    key = json.dumps([first.finding, first.outlet, first.tap, words], ensure_ascii=False)
    began = business_day(first.first_ms, venue.timezone, venue.day_starts) if first.first_ms else day
    return Seen(key, began, explained_ul(rows), max(0, cost), max(0, whole))


def _explained(one: Raised, ledger: DayLedger) -> int:
    """What findings explain of the place and span of an alert, at most."""
    named = [
        row for row in ledger.findings
        if one.outlet in ("", row.outlet) and one.product in ("", row.product)
        and (one.window_start_ms is None or row.finding == "serves_without_ring"
             or one.window_start_ms <= row.first_ms <= row.last_ms <= one.window_start_ms + TWO_HOURS_MS)
    ]
    return sum(max(0, row.volume_ul) for row in named)


def _place(row: FindingRow) -> tuple[str, str, str, str]:
    return (row.finding, row.outlet, row.tap, row.headline)


def _price(row: FindingRow, prices: Prices) -> Decimal:
    """Minor units for a microlitre; 0 where no cost is known."""
    return Decimal(prices.get((row.outlet, row.product)) or 0) / 1_000_000


def _rank(rows: Sequence[FindingRow], prices: Prices) -> int:
    """What it explains of the day's beer over, at cost, whether that beer was lost or not."""
    if rows[0].finding not in OTHER_NAMES:
        return _cost(rows, prices)
    return sum(max(0, _cost([row], prices)) for row in rows)


def _mean_price(rows: Sequence[FindingRow], prices: Prices) -> Decimal:
    """By what each row explains, over or short."""
    weights = [abs(row.volume_ul) for row in rows]
    if not any(weights):
        return _price(rows[0], prices)
    costs = [_price(row, prices) * weight for row, weight in zip(rows, weights, strict=True)]
    return sum(costs, Decimal()) / sum(weights)


def _never_flowed(row: FindingRow) -> bool:
    """Whether the beer was only counted: by a meter that whole kegs show to be wrong."""
    return row.finding == "meter_calibration" and row.confidence == "high"


def _named(row: FindingRow, twice: Collection[str]) -> str:
    """A finding in a few words, with its place where another has the same words."""
    place = f", {shown_name(row.outlet, 40)}" if row.headline in twice and row.outlet else ""
    return shown_name(row.headline, 60) + place


def _cost(rows: Sequence[FindingRow], prices: Prices) -> int:
    """Of the beer over, in minor units; 0 where no cost is known."""
    return sum(round(_price(row, prices) * row.volume_ul) for row in rows)


def _action(
    rows: Sequence[FindingRow], seen: Seen, after: Standing, rank_minor: int, day: date, settings: Settings
) -> Action:
    first = rows[0]
    amount = f": {shown_volume(abs(seen.volume_ul), settings)}" if seen.volume_ul else ""
    place = shown_name(first.outlet, 40) or "Whole venue"
    place += f", tap {shown_name(first.tap, 12)}" if first.tap else ""
    doubt = " Another reading explains it as well." if first.confidence == "low" else ""
    return Action(
        f"{first.headline}{amount}", place, first.minutes, first.check_first, first.caution,
        seen.cost_minor or None, first.evidence + doubt,
        open_for(after, day, settings) if days_open(after, day) > 1 else "", rank_minor,
    )
