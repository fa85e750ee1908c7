"""Things to look at: a title, where, how long it takes, what to check first, and a caution.

Checks go from equipment to settings to procedure to a talk with the team. Cautions are short
because they are read on a phone; local codes and licensed practice decide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from unrung.alerts.measures import TWO_HOURS_MS
from unrung.alerts.rules import Raised
from unrung.alerts.wording import (
    shown_name,
    shown_range,
    shown_share,
    shown_volume,
    steps_with_unit,
)
from unrung.ledger.results import DayLedger
from unrung.mail.figures import rows, total
from unrung.settings import Settings
from unrung.venue_time import clock

CELLAR = "In the cellar: a working CO2 alarm, air, not alone; leave if it sounds."
GAS = "Before touching a coupler, detector or meter: gas off, vented. Never force or open a keg."
CLEANER = (
    "Cleaner: gloves, goggles, sign on the tap, never mix chemicals; prove the rinse by test "
    "strip, never by taste."
)
PRODUCT_CHECK = (
    "Pour a measured glass at each {product} tap and compare it with the meter. Then see that its "
    "portions are set right, and that comps, waste and keg changes were written down. Then talk "
    "with the team."
)
HOURS_CHECK = (
    "See what ran then: a keg change, a line clean, a till that was off, or a function that was "
    "not written down. Then talk with the team."
)
VENUE_CHECK = (
    "Look for one cause: a terminal that the till's export lacks, a clock that was changed, an "
    "item that the menu file does not list. Then talk with the team."
)
LOG_CHECK = (
    "Read the day's log entries, amounts and units first; then see whether a function or a "
    "training explains them. Then talk with the team."
)


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to look at. ``cost_minor`` is the beer's cost in minor units, where known."""

    title: str
    place: str
    minutes: int
    first_check: str
    caution: str = ""
    cost_minor: int | None = None
    detail: str = ""
    since: str = ""
    """How long it has stood open, and what it cost so far."""
    rank_minor: int | None = None
    """What it is ranked by, in minor units, where that is not its cost."""
    copy: tuple[str, ...] = ()
    """Lines to be taken over as they are: a command, a row of a table."""


class Figures(NamedTuple):
    """The mail's own figures by outlet and product, volumes in steps; the venue's: ``("", "")``."""

    not_rung: Mapping[tuple[str, str], int]
    costs_minor: Mapping[tuple[str, str], int]


def worst_first(actions: Sequence[Action]) -> list[Action]:
    """By what the beer cost; among equals, and where no cost is known, in the order given."""
    def rank(one: Action) -> int:
        return (one.cost_minor if one.rank_minor is None else one.rank_minor) or 0

    return sorted(actions, key=lambda one: -rank(one))


def actions_of(
    raised: Sequence[Raised], ledger: DayLedger, settings: Settings, until_ms: int | None = None
) -> list[Action]:
    """One action per raised alert, the largest volume first; the whole venue and the log come
    last, and the whole venue only where no place in it was raised. ``until_ms``: up to when a day that goes
    on was judged."""
    per = {alert.name: alert.per for alert in settings.alert}
    table = rows(ledger, settings)
    shown = {(row.outlet, row.product): row.not_rung for row in (*table, total(table, ""))}
    figures = Figures(shown, costs_minor(ledger))
    order = {"product_day": 0, "two_hours": 0, "venue_day": 1, "logged_share": 2}
    ranked = sorted(raised, key=lambda one: (order[per[one.rule]], -one.volume_ul, one.key))
    placed = any(order[per[one.rule]] == 0 for one in ranked)
    return [
        _action(one, per[one.rule], figures, ledger, settings, until_ms)
        for one in ranked
        if not (placed and per[one.rule] == "venue_day")
    ]


def costs_minor(ledger: DayLedger) -> dict[tuple[str, str], int]:
    """Cost of each product's poured-not-rung beer, in minor units, where a cost is known.

    The venue's whole stands under ``("", "")`` where every product without a ring has a cost.
    """
    volumes: dict[tuple[str, str], int] = {}
    for leaf in ledger.leaves:
        key = (leaf.outlet, leaf.product)
        volumes[key] = volumes.get(key, 0) + leaf.volumes.poured_not_rung
    prices = _prices(ledger)
    costs = {
        key: round(Decimal(prices[key]) * volume / 1_000_000)
        for key, volume in volumes.items()
        if key in prices
    }
    if all(key in costs for key, volume in volumes.items() if volume):
        costs["", ""] = sum(costs.values())
    return costs


def _prices(ledger: DayLedger) -> dict[tuple[str, str], float]:
    """Minor units for a litre, where a cost is known."""
    return {
        (row.outlet, row.product): row.cost_minor_per_litre
        for row in ledger.products
        if row.cost_minor_per_litre is not None
    }


def _two_hours_cost(one: Raised, start_ms: int, ledger: DayLedger) -> int | None:
    """Of the beer without a ring in the two hours, as far as costs are known; None where none is."""
    prices = _prices(ledger)
    known = [
        Decimal(prices[leaf.outlet, leaf.product]) * leaf.volumes.poured_not_rung / 1_000_000
        for leaf in ledger.leaves
        if leaf.outlet == one.outlet and (leaf.outlet, leaf.product) in prices
        and start_ms <= leaf.window_start_ms < start_ms + TWO_HOURS_MS
    ]
    return round(sum(known)) if known else None


def _action(
    one: Raised, per: str, figures: Figures, ledger: DayLedger, settings: Settings, until_ms: int | None
) -> Action:
    place = shown_name(one.outlet, 40) or "Whole venue"
    amount = f"{_volume(one, per, figures, settings)} ({shown_share(one.share, settings)})"
    likely = f"Unexplained volume, likely {shown_range(one.low_ul, one.high_ul, settings)}."
    if per == "product_day":
        product = shown_name(one.product, 30)
        cost = figures.costs_minor.get((one.outlet, one.product))
        check = PRODUCT_CHECK.format(product=product)
        return Action(f"{amount} not rung, {product}", place, 10, check, GAS, cost, likely)
    if per == "two_hours" and one.window_start_ms is not None:
        start = clock(one.window_start_ms, settings)
        end_ms = one.window_start_ms + TWO_HOURS_MS
        end = clock(end_ms if until_ms is None else min(end_ms, until_ms), settings)
        title = f"{amount} not rung from {start}, {place}"
        said = f"Unexplained volume until {end}, {one.serves} serves without a ring."
        cost = _two_hours_cost(one, one.window_start_ms, ledger)
        return Action(title, place, 10, HOURS_CHECK, f"{CELLAR} {CLEANER}", cost, said)
    if per == "logged_share":
        return Action(f"{amount} written down", place, 5, LOG_CHECK)
    cost = figures.costs_minor.get(("", ""))
    return Action(f"{amount} not rung, whole venue", place, 10, VENUE_CHECK, "", cost, likely)


def _volume(one: Raised, per: str, figures: Figures, settings: Settings) -> str:
    """As the table rounds it, where the table holds it."""
    shown = figures.not_rung.get((one.outlet, one.product))
    if per not in ("product_day", "venue_day") or shown is None:
        return shown_volume(one.volume_ul, settings)
    return steps_with_unit(shown, settings)
