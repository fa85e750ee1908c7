"""When a round is rung and when it is poured: two families of different shape.

``counter_table``: bell-shaped lags near the pour, at the counter before or after it, at tables
longer; some rounds in late bursts. ``second``: tickets are mostly rung first and worked off in
order by few servers, so that lags grow with the rush; the rest has heavy log-normal tails.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from simulator.rates import RATES, log_normal
from simulator.trade import HOUR_MS, Day, Round

LagFamily = Literal["counter_table", "second"]


def plan_rounds(family: LagFamily, rounds: Sequence[Round], day: Day) -> None:
    """Set ``mode``, ``ring_ms`` (where rung before) and ``pour_ms`` of each round of a day."""
    if family == "counter_table":
        for made in rounds:
            _counter_or_table(made)
    else:
        for outlet in sorted({made.outlet for made in rounds}):
            _tickets([made for made in rounds if made.outlet == outlet], day)


def ring_after_ms(family: LagFamily, made: Round, last_end_ms: int, bursts: np.ndarray) -> int:
    """When a round that is rung after its pours is rung."""
    rates = RATES["lags"][family]
    if made.mode == "tab":
        index = int(np.searchsorted(bursts, last_end_ms + 60_000))
        late = bursts[index] if index < len(bursts) else last_end_ms + 300_000
        return int(late) + round(abs(made.z[3]) * 8_000)
    if made.mode == "forgotten":
        delay = log_normal(rates["forgotten_min"] * 60, rates["forgotten_sigma"], made.z[0])
    elif family == "second":
        delay = log_normal(rates["ring_after_s"], rates["ring_after_sigma"], made.z[0])
    else:
        delay = _bell(rates["ring_after_s" if made.counter else "table_after_s"], made.z[0])
    return last_end_ms + round(delay * 1000)


def line_gap_ms(family: LagFamily, z: float) -> int:
    """Between two lines of one round."""
    return round(_bell(RATES["lags"][family]["line_gap_s"], z, 0.5) * 1000)


def burst_times(rng: np.random.Generator, day: Day) -> np.ndarray:
    """The moments at which a terminal catches up on tabs."""
    mean = RATES["lags"]["counter_table"]["burst_every_min"] * 60_000
    count = 4 + 2 * int((day.closes_ms - day.opens_ms) / mean)
    return day.opens_ms + np.cumsum(rng.exponential(mean, count)).astype(np.int64)


def _counter_or_table(made: Round) -> None:
    rates = RATES["lags"]["counter_table"]
    made.pour_ms = made.at_ms
    if made.u[1] < rates["late_tab"]:
        made.mode = "tab"
        return
    first = rates["ring_first" if made.counter else "table_ring_first"]
    if made.u[0] >= first:
        made.mode = "after"
        return
    made.mode, made.ring_ms = "before", made.at_ms
    lag = _bell(rates["ring_first_s" if made.counter else "table_first_s"], made.z[1])
    made.pour_ms = made.at_ms + round(lag * 1000)


def _tickets(rounds: list[Round], day: Day) -> None:
    """First come, first served, by as many servers as the hour asks for."""
    rates = RATES["lags"]["second"]
    pace: dict[int, int] = {}
    for made in rounds:
        hour = (made.at_ms - day.start_ms) // HOUR_MS
        pace[hour] = pace.get(hour, 0) + len(made.drinks)
    free: list[int] = []
    for made in rounds:
        hour = (made.at_ms - day.start_ms) // HOUR_MS
        on_shift = max(rates["servers"], math.ceil(pace[hour] / rates["serves_per_server_hour"]))
        busy = [at for at in free if at > made.at_ms]
        heapq.heapify(busy)
        ready = made.at_ms
        while len(busy) >= on_shift:
            ready = heapq.heappop(busy)
        ready = min(max(ready, made.at_ms), made.at_ms + round(rates["longest_queue_s"] * 1000))
        _ticket(made, ready, rates)
        free = [*busy, made.pour_ms + round(1000 * rates["work_s"] * len(made.drinks))]


def _ticket(made: Round, ready_ms: int, rates: dict[str, Any]) -> None:
    prepare = log_normal(rates["prepare_s"], rates["prepare_sigma"], made.z[1])
    made.pour_ms = ready_ms + round(prepare * 1000)
    if made.u[0] < rates["ring_first"]:
        made.mode, made.ring_ms = "before", made.at_ms
    else:
        made.mode = "forgotten" if made.u[1] < rates["forgotten"] / (1 - rates["ring_first"]) else "after"


def _bell(mean_sd: Sequence[float], z: float, least: float = 2.0) -> float:
    return max(least, mean_sd[0] + mean_sd[1] * z)
