"""Meters: what flows at their faucets, as pulses. Flows that overlap behind one meter merge."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from simulator.flows import Flow, Serve
from simulator.model import Part, SimPour
from simulator.rates import RATES, stream
from simulator.serving import Bar
from simulator.taps import Poured
from simulator.trade import Day
from simulator.venues import Line, products_of
from unrung.units import pulses_to_ul

K = Decimal(RATES["noise"]["pulses_per_litre"])
WATER = ("water", "unlogged_water", "gas")
MERGE_MS = 300
"""A meter that comes to rest for less than this reports one flow."""


class MeterErrors:
    """The steady error of each meter, the calibration loss among it."""

    def __init__(self, bar: Bar) -> None:
        rng = stream(bar.seed, "venue", 1)
        sd = RATES["noise"]["meter_bias_sd"]
        self.bias = {line.meter: sd * float(rng.normal()) for line in bar.venue.lines}
        self.calibration = dict.fromkeys(self.bias, 0.0)
        factor = RATES["losses"]["meter_calibration"]["factor"]
        self.calibration[bar.plan.calibrated.meter] = factor * bar.plan.of("meter_calibration")

    def share(self, meter: str, noise: float) -> float:
        """Measured over true."""
        own = (1 + self.bias[meter]) * (1 + RATES["noise"]["meter_noise_sd"] * noise)
        return float(own * (1 + self.calibration[meter]))


def meter_pours(bar: Bar, poured: Poured, errors: MeterErrors, first_id: int) -> list[SimPour]:
    """The pours of one meter in time order."""
    groups: list[list[Flow]] = []
    ends = 0
    for flow in poured.flows:
        if groups and flow.start_ms < ends + MERGE_MS:
            groups[-1].append(flow)
            ends = max(ends, flow.end_ms)
        else:
            groups.append([flow])
            ends = flow.end_ms
    pours: list[SimPour] = []
    for group in groups:
        made = _meter(bar, poured.line, group, errors, first_id + len(pours))
        if made:
            pours.append(made)
    return pours


def _meter(
    bar: Bar, line: Line, group: list[Flow], errors: MeterErrors, number: int
) -> SimPour | None:
    shares: list[tuple[str, Serve | None, float]] = []
    for flow in group:
        factor = errors.share(line.meter, flow.noise) if flow.label != "gas" else 1.0
        shares += [(flow.label, serve, ul * factor) for serve, ul in flow.shares]
    pulses = round(sum(ul for _, _, ul in shares) * float(K) / 1e6)
    if not pulses:
        return None
    volume = pulses_to_ul(pulses, K)
    sizes = _whole([ul for _, _, ul in shares], volume)
    parts = tuple(
        Part(label, size, serve.id if serve else None)
        for (label, serve, _), size in zip(shares, sizes, strict=True)
    )
    day = day_at(bar.days, group[0].start_ms)
    beer = sum(flow.volume_ul for flow in group if flow.label not in WATER)
    product = products_of(line, day.index, len(bar.days))
    serves = [serve for _, serve, _ in shares if serve]
    return SimPour(
        number, line.outlet, line.feed_name, line.meter, product,
        serves[0].true_product if serves else product, group[0].start_ms,
        max(flow.end_ms for flow in group), pulses, volume, round(beer), parts,
        tuple(sorted({flow.faucet for flow in group})),
    )


def day_at(days: list[Day], at_ms: int) -> Day:
    """The day of a moment; what lies outside the month belongs to its edges."""
    low, high = 0, len(days) - 1
    while low < high:
        middle = (low + high) // 2
        if at_ms < days[middle].end_ms:
            high = middle
        else:
            low = middle + 1
    return days[low]


def date_at(days: list[Day], at_ms: int) -> date:
    """The business day of a moment; the one after the month for what lies beyond its end."""
    day = day_at(days, at_ms)
    return day.date if at_ms < day.end_ms else day.date + timedelta(days=1)


def _whole(parts: list[float], total: int) -> list[int]:
    """Whole numbers near ``parts`` that sum to ``total``: the last takes what is left over."""
    edges, running = [0], 0.0
    scale = total / sum(parts)
    for part in parts:
        running += part * scale
        edges.append(round(running))
    edges[-1] = total
    return [after - before for before, after in pairwise(edges)]
