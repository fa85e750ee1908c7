"""One period's ledger: its issued days, the cellar's books, keg by keg, and what came too late."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from typing import Literal

from unrung.ledger.adjust import Adjustment
from unrung.ledger.books import Books, make_books
from unrung.ledger.cellar import Cellar, read_cellar
from unrung.ledger.costing import Lot
from unrung.ledger.inputs import KegLine
from unrung.ledger.kegs import KegRow, Meters, keg_rows
from unrung.ledger.outlets import Outlets
from unrung.ledger.results import DayLedger, Leaf
from unrung.ledger.stock import Place, StockRow, stock_rows
from unrung.ledger.tap_spans import TapSpan
from unrung.periods import Period
from unrung.settings import Settings

MonthStatus = Literal["closed", "final", "incomplete", "provisional"]


@dataclass(slots=True)
class MonthInputs:
    """What a period is made of. Volumes in whole microlitres, times in UTC milliseconds."""

    period: Period
    bounds: tuple[int, int]
    """From its first business day, or the first of all data, to its end."""
    days: Sequence[DayLedger] = ()
    """Issued days in order, as the store keeps them: leaves, products, logged."""
    revisions: Mapping[date, int] = field(default_factory=dict)
    missing: Sequence[date] = ()
    """Days of the period that are not issued, from the first day of data on."""
    leaves: Sequence[Leaf] = ()
    """Of the period's days and a few around it, for rolling counts."""
    known: tuple[int, int] = (0, 0)
    """The span whose days are all on the books."""
    kegs: Sequence[KegLine] = ()
    spans: Sequence[TapSpan] = ()
    adjustments: Sequence[Adjustment] = ()
    opening: Mapping[Place, int] | None = None
    """Closing stock of the closed period before."""
    carried: Mapping[Place, int] | None = None
    """Closing stock of the period before as its books have it, counted or not."""
    lots: Mapping[str, Sequence[Lot]] = field(default_factory=dict)
    """What the stock was made of when the period before ended, by product."""
    closed_revisions: Mapping[str, int] = field(default_factory=dict)
    """Closed periods that adjustments speak of, to the revision they were closed with."""
    closed: bool = False


@dataclass(frozen=True, slots=True)
class MonthLedger:
    """Everything that a period's files are made of. No clock, no generation time."""

    period: Period
    days: tuple[DayLedger, ...]
    revisions: Mapping[date, int]
    status: MonthStatus
    stock: tuple[StockRow, ...]
    books: Books
    kegs: tuple[KegRow, ...]
    """Kegs that were on a line within the period."""
    adjustments: tuple[Adjustment, ...]
    closed_revisions: Mapping[str, int]
    notices: tuple[str, ...]


def make_month(inputs: MonthInputs, settings: Settings) -> MonthLedger:
    """The period's ledger. Pure."""
    cellar = read_cellar(inputs.kegs, settings)
    meters = Meters(inputs.spans)
    kegs = keg_rows(cellar.events, meters, inputs.bounds[1], settings)
    stock, books = _books(inputs, cellar, meters, settings)
    return MonthLedger(
        inputs.period, tuple(inputs.days), dict(inputs.revisions), _status(inputs), tuple(stock), books,
        tuple(keg for keg in kegs if (keg.off_ms or inputs.bounds[1]) > inputs.bounds[0]),
        tuple(inputs.adjustments), dict(inputs.closed_revisions),
        (*_former(inputs, settings), *cellar.notices, *books.notices),
    )


def _former(inputs: MonthInputs, settings: Settings) -> list[str]:
    """What to know of places that poured beer and are no outlet or pool any more."""
    outlets = Outlets(settings)
    poured = {leaf.outlet for day in inputs.days for leaf in day.leaves if leaf.volumes.poured}
    return [
        f"{inputs.period.name} has days of {name!r}, which is no outlet and no pool any more: where those "
        "that took its place were counted, they used its beer too. Leave the pools as they were until the "
        "month is closed." for name in sorted(poured) if name and not outlets.knows(name)
    ]


def _books(
    inputs: MonthInputs, cellar: Cellar, meters: Meters, settings: Settings
) -> tuple[list[StockRow], Books]:
    """The stock of every place that sold or kept beer, and what it cost. Days that were issued, and a period
    that was closed, before outlets were put into a pool have them under their own names: theirs is the
    pool's, as the cellar's rows of all the period are."""
    whole = keg_rows(cellar.events, meters, inputs.known[1], settings)
    of = Outlets(settings).of
    leaves = [replace(leaf, outlet=of(leaf.outlet)) for leaf in inputs.leaves]
    flow = Flow(leaves, inputs.known)
    drawn = Counter({(of(one.outlet), one.product): 0 for one in inputs.adjustments})
    for day in inputs.days:
        drawn.update({(of(one.outlet), one.product): 0 for one in day.products})
        for leaf in day.leaves:
            drawn[of(leaf.outlet), leaf.product] += drawn_ul(leaf)
    opening, carried = _pooled(inputs.opening, of), _pooled(inputs.carried, of)
    stock = stock_rows(
        cellar.events, inputs.bounds, whole, meters, drawn, flow.within, settings, opening, carried
    )
    books = make_books(
        stock, cellar.events, inputs.bounds, inputs.period.first, settings, inputs.lots
    )
    return stock, books


def _pooled(stock: Mapping[Place, int] | None, of: Callable[[str], str]) -> Counter[Place]:
    found: Counter[Place] = Counter()
    for (outlet, product), volume_ul in (stock or {}).items():
        found[of(outlet), product] += volume_ul
    return found


def _status(inputs: MonthInputs) -> MonthStatus:
    if inputs.closed:
        return "closed"
    if inputs.missing or not inputs.days:
        return "provisional"
    return "incomplete" if any(day.status == "incomplete" for day in inputs.days) else "final"


class Flow:
    """Beer that left the kegs, from the ledger's leaves: metered, and at unmetered taps rung."""

    def __init__(self, leaves: Sequence[Leaf], known: tuple[int, int]) -> None:
        self._known = known
        self._leaves: dict[Place, list[Leaf]] = {}
        for leaf in leaves:
            self._leaves.setdefault((leaf.outlet, leaf.product), []).append(leaf)

    def within(self, place: Place, lo_ms: int, hi_ms: int) -> int | None:
        """Within [lo, hi), windows in parts by time; None where days in it are not on the books."""
        if lo_ms < self._known[0] or hi_ms > self._known[1]:
            return None
        return sum(_part(leaf, lo_ms, hi_ms) for leaf in self._leaves.get(place, ()))


def _part(leaf: Leaf, lo_ms: int, hi_ms: int) -> int:
    start, length = leaf.window_start_ms, leaf.window_minutes * 60_000
    shared = min(hi_ms, start + length) - max(lo_ms, start)
    if shared <= 0 or length <= 0:
        return 0
    return round(Fraction(drawn_ul(leaf) * shared, length))


def drawn_ul(leaf: Leaf) -> int:
    """Beer that left the kegs in a window: metered, and where no meter is, rung."""
    volumes = leaf.volumes
    return volumes.poured - volumes.not_beer + volumes.rung_not_compared
