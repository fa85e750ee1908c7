"""A small invented bar in memory: movements of a few days, and their ledgers.

Two metered taps and a till, June 2025 in New York (UTC-4; no clock change near), US fluid ounces.
Times are local and read ``"20:15:00"``, on the first day, or ``"06-11 01:10:00"``. Everything goes
through the ledger's own functions and the real matching.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from unrung.business_day import business_day, day_bounds
from unrung.ledger.day import compute_day
from unrung.ledger.inputs import DayInputs, KegLine, LogLine, Origin, PourLine, RingLine
from unrung.ledger.material import Material, make_materials
from unrung.ledger.results import COMPONENTS, DayLedger, Lone, Volumes
from unrung.ledger.sealed import NOTHING
from unrung.settings import Matching, MenuRow, Pool, Product, Settings, TapRow, Venue
from unrung.units import to_ul

ZONE = "America/New_York"
DAY = date(2025, 6, 10)
SECOND, MINUTE, HOUR = 1_000, 60_000, 3_600_000
PINT, HALF, PITCHER = 473_176, 236_588, 1_774_412
"""16, 8 and 60 US fluid ounces of 29.5735295625 mL in whole microlitres (NIST Handbook 44)."""


def oz(ounces: float) -> int:
    """US fluid ounces in whole microlitres."""
    return to_ul(Decimal(str(ounces)), "us_fl_oz")


def ms(text: str, zone: str = ZONE) -> int:
    """A local time as UTC milliseconds.

    >>> ms("06-10 20:00:00")
    1749600000000
    """
    local = datetime.fromisoformat(f"2025-{text}" if "-" in text else f"{DAY} {text}")
    return round(local.replace(tzinfo=ZoneInfo(zone)).timestamp() * 1000)


def menu(*rows: tuple[str, str, float], **more: Any) -> tuple[MenuRow, ...]:
    """Rows of (item, product, ounces)."""
    return tuple(
        MenuRow(item=item, product=product, portion_ul=oz(ounces), **more) for item, product, ounces in rows
    )


MENU = (
    *menu(("Amber", "Amber", 16), size="Pint"), *menu(("Amber", "Amber", 8), size="Half"),
    *menu(("Stout", "Stout", 16), size="Pint", price_minor=800),
    *menu(("Burger", "", 0)), *menu(("Black and Amber", "Stout", 8), ("Black and Amber", "Amber", 8)),
)
TAPS = (
    TapRow(tap="1", meter="M1", outlet="Bar", product="Amber", line_volume_ul=oz(20)),
    TapRow(tap="2", meter="M2", outlet="Bar", product="Stout", line_volume_ul=oz(20)),
)
PRODUCTS = (Product(product="Amber"), Product(product="Stout"))


class Bar:
    """What happened over a few days; every row is numbered as it is told."""

    def __init__(
        self, *, menu: Sequence[MenuRow] = MENU, taps: Sequence[TapRow] = TAPS,
        products: Sequence[Product] = PRODUCTS, pools: Sequence[Pool] = (),
        matching: Mapping[str, Any] | None = None, files: Mapping[str, Any] | None = None, **venue: Any,
    ) -> None:
        about = {"name": "The Test Jug", "timezone": ZONE} | venue
        self.settings = Settings(
            venue=Venue(**about), feed=(), products=tuple(products), menu=tuple(menu), taps=tuple(taps),
            pool=tuple(pools), matching=Matching(**(matching or {})),
        )
        if files:
            kept = self.settings.files.model_copy(update=dict(files))
            self.settings = self.settings.model_copy(update={"files": kept})
        self.rings: list[RingLine] = []
        self.pours: list[PourLine] = []
        self.logs: list[LogLine] = []
        self.kegs: list[KegLine] = []
        self.ring_cover: dict[date, list[tuple[int, int]]] = {}
        self.pour_cover: dict[date, list[tuple[int, int]]] = {}
        self._rows = 0

    def _origin(self, feed: str, ref: str) -> tuple[int, Origin]:
        self._rows += 1
        return self._rows, Origin(feed, 1, self._rows + 1, ref)

    def _ms(self, at: str | int) -> int:
        return at if isinstance(at, int) else ms(at, self.settings.venue.timezone)

    def ring(
        self, at: str | int, item: str = "Amber", size: str = "Pint", *, units: float = 1,
        kind: str = "sale", cents: int | None = 700, tax: int | None = None, check: str = "",
        terminal: str = "", outlet: str = "Bar", voided: str | None = None, voids: str = "",
        ref: str = "", feed: str = "till", price_level: str = "", modifier: str = "",
    ) -> RingLine:
        number, origin = self._origin(feed, ref)
        line = RingLine(
            number, origin, self._ms(at), item, size, price_level, modifier, round(units * 1_000_000),
            kind, cents, tax, check, terminal, outlet, None if voided is None else self._ms(voided), voids,
        )
        self.rings.append(line)
        return line

    def pour(
        self, end: str | int, ounces: float = 16, *, tap: str = "1", seconds: float = 8,
        pulses: int | None = None, ref: str = "",
    ) -> PourLine:
        number, origin = self._origin("meter", ref)
        end_ms = self._ms(end)
        line = PourLine(number, origin, tap, end_ms - round(seconds * 1000), end_ms,
                        oz(ounces) if pulses is None else None, pulses)
        self.pours.append(line)
        return line

    def sale(
        self, end: str | int, ounces: float = 16, *, after: int = 30, tap: str = "1", **ring: Any
    ) -> None:
        """A pour, and its ring ``after`` seconds."""
        self.pour(end, ounces, tap=tap)
        if tap == "2":
            ring.setdefault("item", "Stout")
        self.ring(self._ms(end) + after * SECOND, **ring)

    def evening(self, sales: int = 24, first: str = "18:00:00", *, gap: int = 240, **sale: Any) -> None:
        """Sales at an even pace, so that the day has a clock to learn from."""
        start = self._ms(first)
        for number in range(sales):
            self.sale(start + number * gap * SECOND, **sale)

    def log(
        self, at: str | int | None, reason: str = "waste", ounces: float | None = 16, *,
        end: str | int | None = None,
        day: str = "", outlet: str = "Bar", tap: str = "", product: str = "Amber", item: str = "",
        units: float = 1,
    ) -> LogLine:
        number, origin = self._origin("log", "")
        line = LogLine(
            number, origin, None if at is None else self._ms(at), None if end is None else self._ms(end),
            day, reason, outlet, tap, product, item, round(units * 1_000_000),
            None if ounces is None else oz(ounces),
        )
        self.logs.append(line)
        return line

    def keg_on(
        self, at: str | int, tap: str = "1", *, keg: str = "", kind: str = "on", **more: Any
    ) -> KegLine:
        number, origin = self._origin("cellar", "")
        line = KegLine(number, origin, self._ms(at), kind, "Bar", tap, "", 1_000_000, {"keg": keg} | more)
        self.kegs.append(line)
        return line

    def bounds(self, day: date) -> tuple[int, int]:
        return day_bounds(day, self.settings.venue.timezone, self.settings.venue.day_starts)

    def day_of(self, at_ms: int) -> date:
        return business_day(at_ms, self.settings.venue.timezone, self.settings.venue.day_starts)

    def inputs(self, day: date = DAY) -> DayInputs:
        """The movements of ``day`` as the store would give them, both sides covered."""
        whole = self.bounds(day)
        return DayInputs(
            day, whole,
            [line for line in self.rings if self.day_of(line.at_ms) == day],
            [line for line in self.pours if self.day_of(line.end_ms) == day],
            [line for line in self.logs
             if (line.day == day.isoformat() if line.at_ms is None else self.day_of(line.at_ms) == day)],
            [line for line in self.kegs if self.day_of(line.at_ms) == day],
            list(self.ring_cover.get(day, [whole])), list(self.pour_cover.get(day, [whole])),
            cleaning=[log for log in self.logs if log.reason == "cleaning" and log.at_ms is not None
                      and self.day_of(log.at_ms) == day - timedelta(days=1)
                      and (log.end_ms or 0) > whole[0]],
        )

    def ledger(self, day: date = DAY) -> DayLedger:
        """The ledger of ``day`` with both its neighbours."""
        before, today, after = materials([self], [day + timedelta(days=n) for n in (-1, 0, 1)])
        return compute_day(before, today, after, self.settings, {1: "export.csv"})

    def volumes(self, product: str = "Amber", day: date = DAY) -> dict[str, int]:
        """The day's components of one product that are not 0, in microlitres."""
        return told(total(self.ledger(day), product))


def total(ledger: DayLedger, product: str | None = None, outlet: str | None = None) -> Volumes:
    """The sum of the leaves of one product or outlet, or of all."""
    volumes = Volumes()
    for leaf in ledger.leaves:
        if product in (None, leaf.product) and outlet in (None, leaf.outlet):
            volumes.add(leaf.volumes)
    return volumes


def told(volumes: Volumes) -> dict[str, int]:
    """The components that are not 0."""
    return {name: value for name in COMPONENTS if (value := getattr(volumes, name))}


def counted(ledger: DayLedger, product: str | None = None) -> Counter[str]:
    """The sums of the leaves' counts."""
    counts: Counter[str] = Counter()
    for leaf in ledger.leaves:
        if product in (None, leaf.product):
            for name in ("serves", "units_rung_micro", "comp_units_micro", "net_sales_minor"):
                counts[name] += getattr(leaf.counts, name)
    return counts


def lone(ledger: DayLedger, kind: str) -> list[Lone]:
    return [one for one in ledger.lone if one.kind == kind]


def kinds(lines: Iterable[Lone]) -> list[str]:
    return [one.kind for one in lines]


def materials(bars: Sequence[Bar], days: Sequence[date]) -> list[Material]:
    """The days of bars with the same settings, one bar after the other, made ready together as a catch-up
    does it."""
    return make_materials([(bar.inputs(day), NOTHING) for bar in bars for day in days], bars[0].settings)


def ledgers(bar: Bar, days: Sequence[date]) -> list[DayLedger]:
    """The ledgers of consecutive days; each day is made ready once."""
    around = [days[0] - timedelta(days=1), *days, days[-1] + timedelta(days=1)]
    ready = materials([bar], around)
    return [
        compute_day(ready[n], ready[n + 1], ready[n + 2], bar.settings, {1: "export.csv"})
        for n in range(len(days))
    ]
