"""Days before anything is learnt from their pairs: serves by the pours alone, and the clocks.

Of a clock's two readings, steady or with a jump, the pairs under each decide.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import gain_by_day
from unrung.matching.clockwork import Centre, Clockwork, all_lags, clockwork_of, find_clock, pinned
from unrung.matching.columns import NEVER_MS, Entries, Floats, Ints, Pours, Units, order_key
from unrung.matching.costs import crowded_days, ring_bases
from unrung.matching.fills import Fills, Sizes, centres_of, said_centres
from unrung.matching.known import Known, Rung, Started
from unrung.matching.laws import CLASSES, SAID, prior_laws
from unrung.matching.learning import assigned, from_pairs, price, rings_of
from unrung.matching.marginals import chances
from unrung.matching.rounds import no_mates, rounds_of
from unrung.matching.serves import first_cut, serves_of, usual_lines, weigh
from unrung.matching.sides import Glasses, Rings, glasses_at, rings_at
from unrung.matching.types import MatchSettings


def start(
    pours: Pours, after_keg: Ints, units: Units, entries: Entries, sizes: Sizes,
    settings: MatchSettings, lo_ms: Ints,
) -> Started:
    """Serves by the pours alone, the clocks, and what is believed before. Each day's products are products
    of their own, one day's after the other's; its serves end no earlier than its ``lo_ms``."""
    days = range(len(lo_ms))
    weighed = weigh(pours, sizes, settings.top_up_gap_ms, after_keg)
    rung = Rung(
        days, units, sizes.day[units.product], centres_of(weighed.fills, units.product, units.portion),
        rounds_of(units),
        _local_rates(units, units.product, units.at), _said(entries, units, weighed.fills),
    )
    cut = first_cut(weighed)
    serves = serves_of(weighed, cut, lo_ms)
    count = len(sizes.size_ul)
    known = Known(
        clockwork_of([Centre(0)] * len(days)), prior_laws(settings, len(days)), no_mates(len(units.at)),
        np.full(count, priors.LONE_RING), usual_lines(count, len(pours.taps)),
    )
    glasses = price(weighed, serves, known)
    glass_day = sizes.day[serves.product]
    known = replace(known, clockwork=_clocks(rung, known, glasses, glass_day, settings))
    return Started(weighed, rung, cut, serves, known, glasses)


def _clocks(
    rung: Rung, known: Known, glasses: Glasses, glass_day: Ints, settings: MatchSettings
) -> Clockwork:
    """The first guess at the clocks; a jump only where it explains the pairs much better. Rings that
    may come hours late tell nothing of it."""
    if settings.clock_offset_ms is not None or settings.window_after_ms > priors.LATE_MS:
        return clockwork_of([pinned(settings.clock_offset_ms or 0)] * len(rung.days))
    found = [_guess(rung, glasses, glass_day, day) for day in rung.days]
    steady = clockwork_of([first for first, _ in found])
    if all(second is None for _, second in found):
        return steady
    crowds = crowded_days(rings_of(rung, known)[0], glasses, known.laws)
    asked = [day for day, (_, jumped) in enumerate(found) if jumped is not None and not crowds[day]]
    if not asked:
        return steady
    jumped = clockwork_of([second or first for first, second in found])
    some, poured = _some_days(rung, asked), np.isin(glass_day, asked)
    worth = [
        _worth(replace(known, clockwork=clockwork, mates=no_mates(len(some.day))), some,
               glasses_at(glasses, poured), glass_day[poured], settings)
        for clockwork in (steady, jumped)
    ]
    better = worth[1] > worth[0] + priors.JUMP_GAIN * priors.MILLINATS
    return clockwork_of([
        second if second is not None and better[day] else first
        for day, (first, second) in enumerate(found)
    ])


def _guess(rung: Rung, glasses: Glasses, glass_day: Ints, day: int) -> tuple[Centre, Centre | None]:
    """One day's clock by lags alone, steady and with a jump."""
    unit = slice(*np.searchsorted(rung.day, (day, day + 1)).tolist())
    glass = slice(*np.searchsorted(glass_day, (day, day + 1)).tolist())
    return find_clock(all_lags(
        rung.units.at[unit], rung.units.product[unit], rung.centre[unit], glasses.product[glass],
        glasses.end[glass], glasses.log_volume[glass],
    ))


def _some_days(rung: Rung, days: list[int]) -> Rung:
    mine, said = np.isin(rung.day, days), np.isin(rung.said.law // CLASSES, days)
    units = Units(*(getattr(rung.units, name)[mine] for name in Units.__slots__))
    return Rung(
        days, units, rung.day[mine], rung.centre[mine], rung.rounds[mine], rung.rate[mine],
        rings_at(rung.said, said),
    )


def _worth(
    known: Known, rung: Rung, glasses: Glasses, glass_day: Ints, settings: MatchSettings
) -> Ints:
    """Log likelihood of each day's pairs under a clock, its law learnt once; in thousandths."""
    rings, order = rings_of(rung, known)
    near = np.ones(len(order), np.bool_)
    edges, partner = assigned(rings, glasses, known, near)
    likely = chances(edges, len(rings.product), glass_day)
    known, *_ = from_pairs(known, rung, rings, order, glasses, edges, partner, likely, settings)
    rings, order = rings_of(rung, replace(known, mates=no_mates(len(rung.units.at))))
    edges, partner = assigned(rings, glasses, known, near)
    return gain_by_day(edges, partner, rings.law // CLASSES, len(known.laws.solo))


def _said(entries: Entries, units: Units, fills: Fills) -> Rings:
    """Log entries as rings with a law of their own."""
    count = len(entries.at)
    nothing = np.zeros(count, np.int64)
    law = CLASSES * fills.day[entries.product] + SAID
    rate = np.maximum(_local_rates(units, entries.product, entries.at), 1 / priors.RATE_WINDOW_S)
    return Rings(
        entries.product, entries.at, nothing, law,
        ring_bases(rate, np.full(count, priors.LONE_ENTRY)),
        said_centres(fills, entries.product, entries.volume), nothing + NEVER_MS,
    )


def _local_rates(units: Units, product: Ints, at: Ints) -> Floats:
    """Rings of the same product per second around each of the given times."""
    if not len(units.at) or not len(at):
        return np.zeros(len(at))
    half = int(1_000 * priors.RATE_WINDOW_S)
    base = min(int(units.at.min()), int(at.min())) - (1 << 35)
    keys, there = order_key(units.product, units.at, base), order_key(product, at, base)
    count = np.searchsorted(keys, there + half, "right") - np.searchsorted(keys, there - half)
    rate: Floats = count / (2 * priors.RATE_WINDOW_S)
    return rate
