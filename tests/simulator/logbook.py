"""The log: what was written down of pours that are not rung."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from simulator.meters import date_at
from simulator.model import SimCleaning, SimLog, SimPour, SimServe
from simulator.rates import OZ, RATES, stream
from simulator.serving import Bar
from simulator.venues import single_items


def write_log(
    bar: Bar, serves: Iterable[SimServe], pours: Iterable[SimPour], cleanings: Iterable[SimCleaning]
) -> list[SimLog]:
    """Entries for staff drinks, spoilt pours, comps and cleanings, in order of time."""
    rng = stream(bar.seed, "log")
    made: list[SimLog] = []
    taps = {line.meter: line.feed_name for line in bar.venue.lines}
    for serve in serves:
        if serve.label in ("staff", "waste", "comp"):
            made.append(_entry(bar, serve, rng.random(4).tolist(), taps))
    for pour in pours:
        for part in pour.parts:
            if part.label == "waste" and part.serve_id is None:
                ul = _rounded_up(part.volume_ul)
                at_ms = pour.end_ms + round(240_000 * float(rng.random()))
                made.append(
                    SimLog(0, "waste", at_ms, None, None, pour.tap, pour.outlet, pour.product,
                           "", "", 1, ul)
                )
    for cleaning in cleanings:
        if cleaning.logged:
            made.append(
                SimLog(0, "cleaning", cleaning.start_ms, cleaning.end_ms, None,
                       taps[cleaning.line], cleaning.outlet, "", "", "", 1, None)
            )
    made.sort(key=lambda entry: (entry.at_ms or _noon(bar, entry.day), entry.tap))
    return [replace(entry, id=number) for number, entry in enumerate(made, 1)]


def _entry(bar: Bar, serve: SimServe, u: list[float], taps: dict[str, str]) -> SimLog:
    rates = RATES["log"]
    delay = min(rates["longest_after_min"], -rates["after_min"] * math.log(1 - u[0]))
    day = date_at(bar.days, serve.end_ms)
    untimed = u[1] < rates["untimed"]
    item, size, volume = "", "", None
    if serve.label != "waste" and u[2] < rates["as_item"]:
        item, size = serve.product, _size(serve)
    if not size:
        item, volume = "", _rounded_up(serve.volume_ul)
    return SimLog(
        0, serve.label, None if untimed else serve.end_ms + round(60_000 * delay), None,
        day if untimed else None, "", serve.outlet, serve.product, item, size, 1, volume,
        (serve.id,),
    )


def _size(serve: SimServe) -> str:
    sizes = {item.portions[0][1]: item.size for item in single_items(serve.product)}
    return sizes.get(serve.set_portion_ul, "")


def _rounded_up(ul: int) -> int:
    """People write whole ounces."""
    return round(math.ceil(ul / OZ) * OZ)


def _noon(bar: Bar, day: date | None) -> int:
    starts = [d.start_ms for d in bar.days if d.date == day]
    return (starts[0] if starts else bar.days[-1].end_ms) + 8 * 3_600_000
