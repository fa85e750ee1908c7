"""Business days made ready: serves built, clock and lag learnt, every price set.

Each a function of that day's rows alone, so that two neighbouring days read the same ``Prepared``; several
are worked out together, because that saves time.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.clockwork import doubt_of_middle
from unrung.matching.columns import (
    NEVER_MS,
    Bools,
    Entries,
    Ints,
    Pours,
    Units,
    after_keg,
    entry_columns,
    pour_columns,
    stacked_entries,
    stacked_pours,
    stacked_units,
    unit_columns,
)
from unrung.matching.confusion import Confusion
from unrung.matching.crowd_learning import learn_totals, totals_only
from unrung.matching.fills import Sizes, sizes_of, stacked_sizes
from unrung.matching.known import Learnt
from unrung.matching.laws import CLASSES, Laws
from unrung.matching.learning import learn
from unrung.matching.serves import Serves, serves_at
from unrung.matching.sides import Glasses, Rings, glasses_at, rings_at
from unrung.matching.starting import start
from unrung.matching.types import Clock, Entry, KegOn, MatchSettings, MeteredPour, RingUnit

ROWS_AT_ONCE = 16_000
"""Pours and ring units worked out together, so that memory stays bounded."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """One day of one outlet or pool; opaque to callers."""

    bounds: tuple[int, int]
    products: tuple[str, ...]
    taps: tuple[str, ...]
    serves: Serves
    glasses: Glasses
    """Row for row the serves, as the assignment sees them."""
    rings: Rings
    """With the day's log entries."""
    ring_key: Ints
    """-1 for log entries."""
    laws: Laws
    clock: Clock
    confusion: Confusion
    blurred: bool
    """Single pairs tell nothing: serves stand too close, or rings come too late."""
    well_ring: Bools
    """Per ring, and per serve, whether learning left it well paired."""
    well_serve: Bools


class DayRows(NamedTuple):
    """The rows of one business day of one outlet or pool."""

    pours: Sequence[MeteredPour]
    """Ended within ``bounds``."""
    units: Sequence[RingUnit]
    """Rung, by the till's own clock, within ``bounds``."""
    sizes: Mapping[str, Sequence[int]]
    """The menu's portions of each product, microlitres."""
    bounds: tuple[int, int]
    entries: Sequence[Entry] = ()
    """What was written down with a time."""
    kegs: Sequence[KegOn] = ()
    """Those that went on."""


class Columns(NamedTuple):
    """The rows of one day as arrays."""

    rows: DayRows
    products: tuple[str, ...]
    pours: Pours
    after_keg: Ints
    units: Units
    entries: Entries
    sizes: Sizes


def prepare(
    pours: Sequence[MeteredPour], units: Sequence[RingUnit], sizes: Mapping[str, Sequence[int]],
    bounds: tuple[int, int], settings: MatchSettings, entries: Sequence[Entry] = (),
    kegs: Sequence[KegOn] = (),
) -> Prepared:
    """Build one day's serves and learn its clock and lag; see ``DayRows``."""
    return prepare_days([DayRows(pours, units, sizes, bounds, entries, kegs)], settings)[0]


def prepare_days(days: Sequence[DayRows], settings: MatchSettings) -> list[Prepared]:
    """Like ``prepare`` for each of several days, worked out together: that is faster, and the same."""
    columns = [_columns(rows) for rows in days]
    found = [one for few in _batches([day for day in columns if day.products], settings)
             for one in _prepared(few, settings)]
    following = iter(found)
    return [next(following) if day.products else _closed(day.rows.bounds, settings) for day in columns]


def _closed(bounds: tuple[int, int], settings: MatchSettings) -> Prepared:
    """A day on which nothing was poured or rung: any is like any other."""
    return replace(_closed_day(settings), bounds=bounds)


@lru_cache(maxsize=16)
def _closed_day(settings: MatchSettings) -> Prepared:
    return _prepared([_columns(DayRows((), (), {}, (0, 0)))], settings)[0]


def _columns(rows: DayRows) -> Columns:
    products = tuple(sorted({p.product for p in rows.pours} | {u.product for u in rows.units}))
    pours, units = pour_columns(rows.pours, products), unit_columns(rows.units, products)
    sizes = sizes_of(products, rows.sizes, units.product, units.portion)
    said = entry_columns(rows.entries, products)
    return Columns(rows, products, pours, after_keg(pours, rows.kegs), units, said, sizes)


def _batches(days: list[Columns], settings: MatchSettings) -> Iterator[list[Columns]]:
    """Days whose rows together are no more than ``ROWS_AT_ONCE``; each by itself where totals are all that
    can be told."""
    batch: list[Columns] = []
    rows = 0
    most = 0 if settings.window_after_ms > priors.LATE_MS else ROWS_AT_ONCE
    for day in days:
        more = len(day.pours.key) + len(day.units.key)
        if batch and rows + more > most:
            yield batch
            batch, rows = [], 0
        batch.append(day)
        rows += more
    if batch:
        yield batch


def _prepared(days: list[Columns], settings: MatchSettings) -> list[Prepared]:
    first = np.cumsum([0, *(len(day.products) for day in days)])
    pours = stacked_pours([day.pours for day in days], first[:-1])
    units = stacked_units([day.units for day in days], first[:-1])
    lo_ms = np.array([day.rows.bounds[0] for day in days])
    started = start(
        pours, np.concatenate([day.after_keg for day in days]), units,
        stacked_entries([day.entries for day in days], first[:-1]),
        stacked_sizes([day.sizes for day in days]),
        settings, lo_ms,
    )
    blurred = totals_only(started, settings)
    if len(days) > 1 and blurred.any():
        apart = [[day] for day, alone in zip(days, blurred.tolist(), strict=True) if alone]
        others = [day for day, alone in zip(days, blurred.tolist(), strict=True) if not alone]
        by_day = {
            id(day): one for few in (*apart, *([others] if others else []))
            for day, one in zip(few, _prepared(few, settings), strict=True)
        }
        return [by_day[id(day)] for day in days]
    learnt = (learn_totals if blurred.any() else learn)(started, settings, lo_ms)
    keys = np.append(units.key, -1)[np.minimum(learnt.order, len(units.key))]
    return [
        _one_day(day, learnt, keys, number, first[number : number + 2], bool(blurred[number]))
        for number, day in enumerate(days)
    ]


def _one_day(
    day: Columns, learnt: Learnt, keys: Ints, number: int, products: Ints, blurred: bool
) -> Prepared:
    """The day with this number, under the names of its own."""
    ring, serve = (
        slice(*np.searchsorted(side.product, products).tolist()) for side in (learnt.rings, learnt.glasses)
    )
    first, laws = int(products[0]), learnt.known.laws
    law = slice(CLASSES * number, CLASSES * (number + 1))
    rings, glasses = rings_at(learnt.rings, ring), glasses_at(learnt.glasses, serve)
    confused = learnt.known.confusion
    return Prepared(
        day.rows.bounds, day.products, day.pours.taps, serves_at(learnt.serves, serve, first),
        replace(glasses, product=glasses.product - first),
        replace(rings, product=rings.product - first, law=rings.law - law.start), keys[ring],
        Laws(laws.scale, laws.solo[number : number + 1], laws.mates[law], laws.solo_share[law]),
        _clock(learnt, number),
        tuple((rung - first, poured - first) for rung, poured in confused if first <= rung < products[1]),
        blurred, learnt.well_ring[ring], learnt.well_serve[serve],
    )


def _clock(learnt: Learnt, number: int) -> Clock:
    clockwork, residual = learnt.known.clockwork, learnt.residual_ms[learnt.residual_day == number]
    centre, at, jump = (
        int(part[number]) for part in (clockwork.centre_ms, clockwork.jump_at_ms, clockwork.jump_ms)
    )
    doubt = round(doubt_of_middle(residual, len(residual) / priors.RINGS_AT_ONCE))
    return Clock(centre, doubt, len(residual), at if at < NEVER_MS else None, jump)
