"""Faucets and kegs: one faucet pours one thing at a time, a keg ends when it is empty."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from itertools import count

import numpy as np

from simulator.flows import Flow, alone
from simulator.model import SimKeg
from simulator.rates import OZ, RATES, between, stream
from simulator.serving import Bar
from simulator.trade import Day
from simulator.venues import BEERS, Line, products_of

LEAST_UL = 0.3 * OZ
"""A keg's last drops that nobody would call a pour."""


@dataclass(slots=True)
class _LineState:
    line: Line
    rng: np.random.Generator
    free: dict[str, int]
    left_ul: float
    heap: list[tuple[int, int, Flow]]
    order: count[int]
    placed: list[Flow] = field(default_factory=list)
    events: list[SimKeg] = field(default_factory=list)
    serial: int = 0

    def push(self, flow: Flow) -> None:
        heapq.heappush(self.heap, (flow.want_ms, next(self.order), flow))


@dataclass(slots=True)
class Poured:
    """What one line poured in the month, in order, and its kegs."""

    line: Line
    flows: list[Flow]
    kegs: list[SimKeg]


def pour_line(bar: Bar, line: Line) -> Poured:
    """Place every wanted flow of a line, as early as its faucets allow."""
    rng = stream(bar.seed, "kegs", 1 + bar.venue.lines.index(line))
    product = products_of(line, 0, len(bar.days))
    state = _LineState(
        line, rng, dict.fromkeys(line.faucets, 0),
        BEERS[product].keg_ul * float(rng.uniform(0.2, 1.0)), [], count(),
    )
    for flow in bar.flows[line.meter]:
        state.push(flow)
    while state.heap:
        _place(bar, state, heapq.heappop(state.heap)[2])
    state.placed.sort(key=lambda flow: flow.start_ms)
    return Poured(line, state.placed, state.events)


def _place(bar: Bar, state: _LineState, flow: Flow) -> None:
    faucet = flow.faucet or min(state.line.faucets, key=lambda name: (state.free[name], name))
    gap = round(1000 * RATES["flow"]["same_tap_gap_s"])
    start = max(flow.want_ms, state.free[faucet] + gap)
    if flow.skippable and start > flow.want_ms:
        return
    if flow.new_keg:
        _change_keg(bar, state, start, state.left_ul)
        return
    if flow.label in ("water", "gas"):
        _pour(state, flow, faucet, start)
    elif flow.volume_ul <= state.left_ul:
        state.left_ul -= flow.volume_ul
        _pour(state, flow, faucet, start)
        if flow.then:
            _follow(state, flow)
    else:
        _run_dry(bar, state, flow, faucet, start)


def _pour(state: _LineState, flow: Flow, faucet: str, start: int) -> None:
    flow.faucet, flow.start_ms = faucet, start
    flow.end_ms = start + max(1, round(flow.volume_ul / flow.rate))
    state.free[faucet] = flow.end_ms
    state.placed.append(flow)
    at = float(start)
    for serve, ul in flow.shares:
        if serve:
            serve.start_ms = serve.start_ms or round(at)
            at += ul / flow.rate
            serve.end_ms = round(at)


def _follow(state: _LineState, flow: Flow) -> None:
    assert flow.then is not None
    gap_ms, rest = flow.then
    rest.want_ms, rest.faucet = flow.end_ms + gap_ms, flow.faucet
    state.push(rest)


def _run_dry(bar: Bar, state: _LineState, flow: Flow, faucet: str, start: int) -> None:
    """The keg ends within a flow: what is left comes out, gas follows, a keg is changed."""
    first, rest = _split(flow, state.left_ul)
    if state.left_ul < LEAST_UL:
        rest = flow
    else:
        if _thrown_away(first, flow):
            rest = flow
            first.label, first.shares = "waste", [(None, first.volume_ul)]
        _pour(state, first, faucet, start)
        start = first.end_ms
    start = _gas(state, flow, faucet, start)
    _change_keg(bar, state, start, 0.0)
    rest.want_ms, rest.faucet, rest.then = state.free[faucet], "", flow.then
    state.push(rest)


def _thrown_away(first: Flow, flow: Flow) -> bool:
    """A glass hardly begun is poured away; nothing is where more than one is being filled."""
    share = first.volume_ul / flow.volume_ul
    return flow.label == "serve" and len(flow.shares) == 1 and share < RATES["kegs"]["dump_below"]


def _split(flow: Flow, left_ul: float) -> tuple[Flow, Flow]:
    first, rest, left = [], [], left_ul
    for serve, ul in flow.shares:
        now = min(ul, left)
        left -= now
        if now > 0:
            first.append((serve, now))
        if ul > now:
            rest.append((serve, ul - now))
    made = [
        Flow(flow.want_ms, shares, flow.label, flow.rate, flow.noise)
        for shares in (first, rest)
    ]
    return made[0], made[1]


def _gas(state: _LineState, flow: Flow, faucet: str, start: int) -> int:
    kegs = RATES["kegs"]
    draws = state.rng.random(4)
    if draws[0] >= kegs["gas"]:
        return start
    rate = between(kegs["gas_rate"], draws[1]) * OZ / 1000
    gas = alone(0, between(kegs["gas_oz"], draws[2]) * OZ, "gas", rate, 0.0)
    _pour(state, gas, faucet, start + 800 + round(2000 * draws[3]))
    return gas.end_ms


def _change_keg(bar: Bar, state: _LineState, at_ms: int, part_ul: float) -> None:
    """Off, on, and the foam of the new keg; extra loss where that is switched on."""
    kegs, draws = RATES["kegs"], state.rng.random(8)
    day = _day_of(bar.days, at_ms)
    product = products_of(state.line, day.index, len(bar.days))
    size = BEERS[product].keg_ul
    short = _short(bar, product, 0.0 if state.serial == 0 else draws[0])
    content = size * (1 + kegs["fill_sd"] * float(state.rng.normal())) * (1 - short)
    on_ms = at_ms + round(1000 * between(kegs["change_s"], draws[1]))
    state.serial += 1
    number = f"{state.line.meter}-{state.serial:03d}"
    state.events += [
        _event(state, at_ms + 5_000, "off", product, "", None, round(part_ul), 0.0, ""),
        _event(state, on_ms, "on", product, number, size, None, content,
               "keg_short_fill" if short else ""),
    ]
    state.left_ul = content
    change = 1000 * (1 + bar.venue.lines.index(state.line)) + state.serial
    at = on_ms + round(1000 * between(kegs["foam_after_s"], draws[2]))
    foam = [alone(at, between(kegs["foam_oz"], draws[3]) * OZ, "keg_change", 0.0, 0.0)]
    extra = bar.plan.of("keg_change_loss") * RATES["losses"]["keg_change_loss"]["oz"] * OZ
    if extra:
        foam += [alone(0, extra * share, "keg_change_loss", 0.0, 0.0) for share in (0.6, 0.4)]
    faucet = state.line.faucets[0]
    for flow, z in zip(foam, (0.0, 1.0, -1.0), strict=False):
        flow.rate, flow.keg = bar.rate(state.line, z), change
        state.left_ul -= flow.volume_ul
        _pour(state, flow, faucet, at)
        at = flow.end_ms + 6_000
    for name in state.free:
        state.free[name] = max(state.free[name], foam[-1].end_ms)


def _short(bar: Bar, product: str, u: float) -> float:
    """Share missing of a keg; a line's first one is always among the short ones."""
    rates = RATES["losses"]["keg_short_fill"]
    if product != bar.plan.short_product or u >= rates["share"]:
        return 0.0
    return float(rates["short"] * bar.plan.of("keg_short_fill"))


def _event(
    state: _LineState, at_ms: int, kind: str, product: str, keg: str, size: int | None,
    part: int | None, content: float, label: str,
) -> SimKeg:
    return SimKeg(
        0, at_ms, kind, state.line.faucets[0], state.line.outlet, product, keg, size, 1, part,
        None, round(content) if kind == "on" else None, label,
    )


def _day_of(days: list[Day], at_ms: int) -> Day:
    return next((day for day in days if at_ms < day.end_ms), days[-1])
