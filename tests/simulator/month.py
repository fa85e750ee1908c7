"""Put a month together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from simulator.clock import ClockKind, TillClock
from simulator.extras import change_products, clean_lines, drip, pour_logged, pour_samples
from simulator.kegs import stock_events
from simulator.lags import LagFamily, plan_rounds
from simulator.logbook import write_log
from simulator.losses import plan_losses, strengths
from simulator.meters import MeterErrors, meter_pours
from simulator.model import (
    MenuSpan,
    Part,
    RingLine,
    SimCleaning,
    SimClock,
    SimGap,
    SimKeg,
    SimLog,
    SimPour,
    SimServe,
    TapSpan,
    TrueUnit,
)
from simulator.rates import RATES
from simulator.serving import Bar, open_bar, serve_rounds
from simulator.taps import Poured, pour_line
from simulator.till import Till, ring_day
from simulator.trade import Day, Round, make_days, menu_of, rounds_of_day
from simulator.truth import Truth, allow_kegs, measure_serves, settle
from simulator.venues import VENUES, change_day


@dataclass(slots=True)
class SimMonth:
    """Everything that the exports say, and beside it what was true."""

    seed: int
    venue: str
    title: str
    start: date
    losses: dict[str, float]
    days: list[Day]
    place: dict[str, str]
    """Outlet to its pool, or to itself."""
    menu: list[MenuSpan]
    taps: list[TapSpan]
    pours: list[SimPour]
    rings: list[RingLine]
    log: list[SimLog]
    kegs: list[SimKeg]
    cleanings: list[SimCleaning]
    gaps: list[SimGap]
    clock: list[SimClock]
    """Truth: till minus meter, by time."""
    serves: list[SimServe]
    """Truth: every serve that a meter saw."""
    units: list[TrueUnit]
    """Truth: every unit rung, whether its line reached us or not."""
    truth: Truth
    pulses_per_litre: int
    index: dict[str, dict[int, object]] = field(default_factory=dict)
    """Look-up tables made at first use."""

    @property
    def pools(self) -> list[str]:
        """Pools and unpooled outlets."""
        return sorted(set(self.place.values()))


def simulate(
    seed: int, *, days: int = 30, start: date = date(2026, 10, 10), venue: str = "standard",
    losses: Mapping[str, float] | str = "none", lag_family: LagFamily = "counter_table",
    clock: ClockKind = "steady",
) -> SimMonth:
    """A month (or ``days`` days) of trade; the same arguments give the same month.

    ``losses``: "none", "all", or names of ``LOSSES`` to strengths (1: as ``rates.toml`` says).
    Raises ``ValueError`` for an unknown loss, ``KeyError`` for an unknown venue.
    """
    venue_plan = VENUES[venue]
    strength = strengths(losses)
    plan = plan_losses(seed, days, venue_plan, strength)
    calendar = make_days(venue_plan, start, days)
    bar = open_bar(seed, venue_plan, calendar, plan)
    rounds = [_trade(bar, day, lag_family) for day in calendar]
    cleanings = clean_lines(bar)
    poured = [pour_line(bar, line) for line in venue_plan.lines]
    errors = MeterErrors(bar)
    pours = _metered(bar, poured, errors)
    till = Till(TillClock(seed, calendar, clock, plan), lag_family)
    for day, made in zip(calendar, rounds, strict=True):
        ring_day(bar, till, day, made)
    return _assemble(bar, venue, start, poured, pours, till, errors, cleanings)


def _trade(bar: Bar, day: Day, lag_family: LagFamily) -> list[Round]:
    """A day's rounds, with all that is to be poured wanted at its line."""
    rounds = rounds_of_day(bar.seed, bar.venue, day, len(bar.days))
    plan_rounds(lag_family, rounds, day)
    menus = {o: menu_of(bar.venue, o, day.index, len(bar.days)) for o in bar.venue.drinks}
    serve_rounds(bar, rounds, menus, day)
    served = sum(len(made.drinks) for made in rounds)
    pour_logged(bar, day, served)
    if bar.plan.of("samples"):
        pour_samples(bar, day, served)
    drip(bar, day)
    change_products(bar, day)
    return rounds


def _metered(bar: Bar, poured: list[Poured], errors: MeterErrors) -> list[SimPour]:
    pours: list[SimPour] = []
    for line in poured:
        pours += allow_kegs(meter_pours(bar, line, errors, 0))
    pours.sort(key=lambda pour: (pour.end_ms, pour.tap))
    return [replace(pour, id=number) for number, pour in enumerate(pours, 1)]


def _assemble(
    bar: Bar, venue: str, start: date, poured: list[Poured], pours: list[SimPour], till: Till,
    errors: MeterErrors, cleanings: list[SimCleaning],
) -> SimMonth:
    place = {outlet: outlet for outlet in bar.venue.drinks}
    for pool, outlets in bar.venue.pools.items():
        place.update(dict.fromkeys(outlets, pool))
    gaps, pours, rings = _withhold(bar, pours, sorted(till.lines, key=lambda r: (r.at_ms, r.id)))
    withheld = frozenset(r.id for r in till.lines) - frozenset(r.id for r in rings)
    serves = measure_serves(bar, pours, till.units, errors)
    truth, serves, units = settle(bar, place, pours, serves, till.units, withheld)
    unit_of = {serve.id: serve.unit_id for serve in serves}
    pours = [_with_units(pour, unit_of) for pour in pours]
    return SimMonth(
        bar.seed, venue, bar.venue.name, start, dict(bar.plan.strength), bar.days, place,
        _menu(bar), _taps(bar), pours, rings, write_log(bar, serves, pours, cleanings),
        stock_events(bar, poured), cleanings, gaps, till.clock.spans, serves, units, truth,
        RATES["noise"]["pulses_per_litre"],
    )


def _with_units(pour: SimPour, unit_of: Mapping[int, int | None]) -> SimPour:
    parts = tuple(
        Part(part.label, part.volume_ul, part.serve_id, unit_of.get(part.serve_id or 0))
        for part in pour.parts
    )
    return replace(pour, parts=parts)


def _withhold(
    bar: Bar, pours: list[SimPour], rings: list[RingLine]
) -> tuple[list[SimGap], list[SimPour], list[RingLine]]:
    """Take out what a feed lost."""
    strength = bar.plan.of("feed_gap")
    if not strength:
        return [], pours, rings
    rates, plan = RATES["losses"]["feed_gap"], bar.plan
    day, after = bar.days[plan.gap_day], bar.days[min(plan.gap_day + 1, len(bar.days) - 1)]
    lo = day.opens_ms + 8 * 3_600_000
    hi = lo + round(rates["till_min"] * strength * 60_000)
    first = after.opens_ms + 8 * 3_600_000
    last = first + round(rates["meter_min"] * strength * 60_000)
    kept = [r for r in rings if r.outlet != plan.gap_outlet or not lo <= r.at_ms < hi]
    seen = [p for p in pours if p.meter != plan.gap_line.meter or not first <= p.end_ms < last]
    gaps = [
        SimGap("rings", plan.gap_outlet, lo, hi, len(rings) - len(kept)),
        SimGap("pours", plan.gap_line.feed_name, first, last, len(pours) - len(seen)),
    ]
    return gaps, seen, kept


def _menu(bar: Bar) -> list[MenuSpan]:
    """Every item of the month by outlet, dated where a line's new beer brings or changes it."""
    days = len(bar.days)
    turn = change_day(days)
    spans = []
    for outlet in sorted(bar.venue.drinks):
        before, after = menu_of(bar.venue, outlet, 0, days), menu_of(bar.venue, outlet, turn, days)
        for item in before:
            spans.append(MenuSpan(outlet, item, None, None if item in after else _day(bar, turn - 1)))
        spans += [MenuSpan(outlet, i, _day(bar, turn), None) for i in after if i not in before]
    return spans


def _taps(bar: Bar) -> list[TapSpan]:
    turn = change_day(len(bar.days))
    spans = []
    for line in bar.venue.lines:
        held = round(bar.contents[line.meter])
        for faucet in line.faucets:
            name = (faucet, line.meter, line.outlet)
            until = _day(bar, turn - 1) if line.becomes else None
            spans.append(TapSpan(*name, line.product, None, until, held))
            if line.becomes:
                spans.append(TapSpan(*name, line.becomes, _day(bar, turn), None, held))
    return spans


def _day(bar: Bar, index: int) -> date:
    return bar.days[0].date + timedelta(days=index)
