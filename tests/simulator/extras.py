"""What is poured without being sold: written down (staff, waste, comps, cleaning) or lost."""

from __future__ import annotations

import math

import numpy as np

from simulator.flows import Flow, alone
from simulator.losses import leak_drip_ul
from simulator.model import SimCleaning
from simulator.rates import OZ, RATES, between, pick, stream
from simulator.serving import Bar
from simulator.trade import HOUR_MS, Day, trade_moment
from simulator.venues import BEERS, SIZE_OZ, Line, change_day, products_of

MOST = 3.0
"""Candidates of a loss are drawn for this strength; a weaker one takes the first of them."""


def pour_logged(bar: Bar, day: Day, served: int) -> None:
    """Staff drinks, spoilt pours and comps that are written down and not rung."""
    rng = stream(bar.seed, "extras", day.index)
    for reason in ("staff", "waste", "comp"):
        for _ in range(int(rng.poisson(RATES["log"][reason] * served))):
            u = rng.random(8).tolist()
            z = rng.normal(size=3).tolist()
            at_ms = trade_moment(bar.venue, day, u[0], u[1])
            line = _line(bar, u[2])
            product = products_of(line, day.index, len(bar.days))
            sizes = [size for size in BEERS[product].sizes if size != "Pitcher"]
            size = sizes[pick([RATES["mix"]["sizes"][size] for size in sizes], u[3])]
            portion = round(SIZE_OZ[size] * OZ)
            share = between((0.3, 1.0), u[4]) if reason == "waste" else 1 + 0.03 * z[0]
            line = bar.plan.swapped_line(line, at_ms, bar.swap)
            serve = bar.new_serve(reason, day.index, line, product, portion, portion * share)
            bar.want(line, alone(at_ms, serve.goal_ul, reason, bar.rate(line, z[1]), z[2], serve))


def pour_samples(bar: Bar, day: Day, served: int) -> None:
    """Small tasters that nobody rings."""
    rates, strength = RATES["losses"]["samples"], bar.plan.of("samples")
    rng = stream(bar.seed, "losses", 2 * (day.index + 1))
    for _ in range(int(rng.poisson(rates["per_serve"] * MOST * served))):
        u = rng.random(5).tolist()
        z = rng.normal(size=2).tolist()
        if u[0] >= strength / MOST:
            continue
        line, at_ms = _line(bar, u[1]), trade_moment(bar.venue, day, u[2], u[3])
        ul = between(rates["oz"], u[4]) * OZ
        product = products_of(line, day.index, len(bar.days))
        line = bar.plan.swapped_line(line, at_ms, bar.swap)
        serve = bar.new_serve("sample", day.index, line, product, round(ul), ul)
        serve.cause = "samples"
        bar.want(line, alone(at_ms, ul, "sample", bar.rate(line, z[0]), z[1], serve))


def drip(bar: Bar, day: Day) -> None:
    """A faucet that does not close."""
    rates, plan = RATES["losses"]["leak"], bar.plan
    if not plan.of("leak") or not 0 <= day.index - plan.leak_day < rates["days"]:
        return
    rng = stream(bar.seed, "losses", 2 * (day.index + 1) + 1)
    hours = (day.end_ms - day.start_ms) / HOUR_MS
    faucet = plan.leak.faucets[0]
    for at in rng.uniform(day.start_ms, day.end_ms, int(rates["drips_per_hour"] * hours)):
        ul = leak_drip_ul(plan) * float(rng.uniform(0.5, 1.5))
        flow = alone(round(at), ul, "leak", ul / float(rng.uniform(1500, 4000)), float(rng.normal()))
        flow.faucet, flow.skippable = faucet, True
        bar.want(plan.leak, flow)


def change_products(bar: Bar, day: Day) -> None:
    """Kegs that are changed on purpose: a new beer on a line, two lines swapped."""
    at_ms = day.opens_ms - HOUR_MS
    for line in bar.venue.lines:
        if line.becomes and day.index == change_day(len(bar.days)):
            bar.want(line, _rekeg(at_ms))
        for moment in bar.swap:
            if line in bar.plan.swapped and bar.swap[1] and day.start_ms <= moment < day.end_ms:
                bar.want(line, _rekeg(moment))


def clean_lines(bar: Bar) -> list[SimCleaning]:
    """Every outlet's lines in turn, every 14 days, and cleanings that nobody wrote down."""
    rng = stream(bar.seed, "extras", len(bar.days) + 1)
    made = []
    every = RATES["cleaning"]["every_days"]
    for outlet in sorted(bar.venue.drinks):
        first = int(rng.integers(0, every))
        for day in bar.days[first::every]:
            for line in bar.venue.lines:
                if line.outlet == outlet:
                    made.append(_clean(bar, rng, line, day, logged=True))
    return made + _unlogged(bar)


def _unlogged(bar: Bar) -> list[SimCleaning]:
    rng = stream(bar.seed, "losses", 2 * len(bar.days) + 2)
    strength = bar.plan.of("unlogged_cleaning")
    wanted = strength * RATES["losses"]["unlogged_cleaning"]["lines"] * len(bar.days) / 30
    made = []
    for _ in range(min(len(bar.days), math.ceil(wanted)) if strength else 0):
        day = bar.days[int(rng.integers(0, len(bar.days)))]
        made.append(_clean(bar, rng, _line(bar, rng.random()), day, logged=False))
    return made


def _clean(
    bar: Bar, rng: np.random.Generator, line: Line, day: Day, *, logged: bool
) -> SimCleaning:
    """Beer of the line first, then rinses; before opening, or (not written down) after closing."""
    rates = RATES["cleaning"]
    early = round(float(rng.uniform(*rates["before_open_min"])) * 60_000)
    at = start = day.opens_ms - early if logged else day.closes_ms + 20 * 60_000
    rinses = int(rng.integers(rates["rinses"][0], rates["rinses"][1] + 1))
    rinsed = [between(rates["rinse_oz"], u) * OZ for u in rng.random(rinses).tolist()]
    for number, ul in enumerate([bar.contents[line.meter], *rinsed]):
        label = "cleaning" if number == 0 else "water"
        flow = alone(at, ul, label, bar.rate(line, 0.0), float(rng.normal()))
        if not logged:
            flow.label = "unlogged_cleaning" if number == 0 else "unlogged_water"
        bar.want(line, flow)
        at += round(ul / flow.rate) + int(rng.integers(60_000, 360_000))
    return SimCleaning(line.meter, line.outlet, start - 60_000, at, logged)


def _line(bar: Bar, u: float) -> Line:
    lines = bar.venue.lines
    return lines[pick([BEERS[line.product].weight for line in lines], u)]


def _rekeg(at_ms: int) -> Flow:
    flow = alone(at_ms, 0.0, "keg", 1.0, 0.0)
    flow.new_keg = True
    return flow
