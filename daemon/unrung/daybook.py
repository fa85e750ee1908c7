"""From the store to one day's ledger: loads what the pure functions need, and nothing more."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from unrung.business_day import business_day, day_bounds
from unrung.ledger.coverage import SILENCE_LEAST_MS, Span, intersect, union
from unrung.ledger.day import compute_day
from unrung.ledger.inputs import DayInputs, LogLine, fill
from unrung.ledger.material import Material, make_materials, rings_of
from unrung.ledger.results import DayLedger
from unrung.ledger.sealed import NOTHING, Handed, handed
from unrung.metering import add_metered
from unrung.settings import Feed, Settings
from unrung.store.lines import kinds_between, lines_between, lines_of_day
from unrung.store.months import sealed_units
from unrung.store.open import Store
from unrung.store.sources import cover_spans, source_names
from unrung.venue_time import clock, day_name

COMPARED = {"rings": "sales", "pours": "pours", "readings": "pours"}
"""Kinds of feed that a day cannot be compared without, in a person's words."""

Cache = dict[date, Material]
"""Materials of the last few days, so that a run over many days prepares each of them once."""


def bounds_of(settings: Settings, day: date) -> Span:
    """The business day's first millisecond and the next day's."""
    return day_bounds(day, settings.venue.timezone, settings.venue.day_starts)


def day_at(settings: Settings, at_ms: int) -> date:
    """The business day of a moment."""
    return business_day(at_ms, settings.venue.timezone, settings.venue.day_starts)


def covered_until(db: Store, settings: Settings, day: date) -> int | None:
    """Up to when both sides' exports cover ``day``, in UTC milliseconds; None where one does not."""
    inputs = day_inputs(db, settings, day)
    if not inputs.ring_cover or not inputs.pour_cover:
        return None
    return min(inputs.ring_cover[-1][1], inputs.pour_cover[-1][1])


def ledger_so_far(db: Store, settings: Settings, day: date, until_ms: int) -> DayLedger:
    """The ledger of a day that is not over, compared only up to ``until_ms``."""
    before, today = (day_inputs(db, settings, one) for one in (day - timedelta(days=1), day))
    span = [(today.bounds[0], until_ms)]
    today.ring_cover = intersect(today.ring_cover, span)
    today.pour_cover = intersect(today.pour_cover, span)
    today.missing = []
    materials = make_materials([(inputs, NOTHING) for inputs in (before, today)], settings)
    ledger = compute_day(materials[0], materials[1], None, settings, _names(db, materials[1], ()))
    return replace(ledger, status="provisional")


def ledger_of(
    db: Store, settings: Settings, day: date, cache: Cache, following: Sequence[date] = ()
) -> DayLedger:
    """The ledger of ``day`` from what the store holds now. ``following``: days that will be asked for next;
    what they need is made ready together with what this one needs."""
    around = [day + timedelta(days=n) for n in (-1, 0, 1)]
    for old in [known for known in cache if known < around[0]]:
        del cache[old]
    if not cache.keys() >= set(around):
        needed = {one + timedelta(days=n) for one in following for n in (-1, 0, 1)}.union(around)
        missing_ = sorted(needed - cache.keys())
        known = {one: material.inputs for one, material in cache.items()}
        gathered = []
        for one in missing_:
            gathered.append(_gathered(db, settings, one, known.get(one - timedelta(days=1))))
            known[one] = gathered[-1][0]
        cache.update(zip(missing_, make_materials(gathered, settings), strict=True))
    before, today, after = (cache[one] for one in around)
    return compute_day(before, today, after, settings, _names(db, today, (before, after)))


def material_of(db: Store, settings: Settings, day: date) -> Material:
    """One day's movements made ready. At the edge of a closed period, with the rings that cross it."""
    return make_materials([_gathered(db, settings, day)], settings)[0]


def _gathered(
    db: Store, settings: Settings, day: date, known: DayInputs | None = None
) -> tuple[DayInputs, Handed]:
    before, after = day - timedelta(days=1), day + timedelta(days=1)
    start, end = sealed_units(db, before), sealed_units(db, day)
    units = [
        unit for edge, beside in ((start, before), (end, after)) if edge
        for unit in rings_of(day_inputs(db, settings, beside), settings).units
    ]
    return day_inputs(db, settings, day, known), handed(start, end, units)


def day_inputs(db: Store, settings: Settings, day: date, before: DayInputs | None = None) -> DayInputs:
    """The movements of one business day and what of it each side covers. ``before``: those of the day before
    it, where they are known."""
    bounds = bounds_of(settings, day)
    inputs = DayInputs(day, bounds)
    timed = kinds_between(db, *bounds)
    for kind in ("ring", "pour", "log", "keg"):
        fill(inputs, kind, lines_between(db, kind, *bounds) if kind in timed else ())
        fill(inputs, kind, lines_of_day(db, kind, day.isoformat()))
    add_metered(db, settings, inputs)
    logs = _timed_logs(db, settings, day - timedelta(days=1)) if before is None else before.logs
    inputs.cleaning = [
        log for log in logs
        if log.reason == "cleaning" and log.at_ms is not None and (log.end_ms or 0) > bounds[0]
    ]
    covers = {feed.name: _cover(db, feed, bounds) for feed in settings.feed}
    inputs.ring_cover = _side(settings, covers, ("rings",), bounds)
    inputs.pour_cover = _side(settings, covers, ("pours", "readings"), bounds)
    inputs.missing = missing(settings, inputs, covers)
    return inputs


def _timed_logs(db: Store, settings: Settings, day: date) -> list[LogLine]:
    """Log entries of a day but for those without a time."""
    inputs = DayInputs(day, bounds_of(settings, day))
    return fill(inputs, "log", lines_between(db, "log", *inputs.bounds)).logs


def missing(settings: Settings, inputs: DayInputs, covers: dict[str, list[Span]]) -> list[str]:
    """Feeds that do not cover the day up to its last activity, as sentences."""
    times = sorted([line.at_ms for line in inputs.rings] + [line.end_ms for line in inputs.pours])
    found = []
    for feed in settings.feed:
        what, spans = COMPARED.get(feed.carries), covers[feed.name]
        name = f"{what} from {feed.name!r} for {day_name(inputs.day, settings)}"
        if what is None:
            continue
        if not spans:
            found.append(f"no {name}")
            continue
        if times and spans[-1][1] <= times[-1]:
            found.append(f"{name} only until {clock(spans[-1][1], settings)}")
        found += [f"{name} missing from {clock(lo, settings)} to {clock(hi, settings)}"
                  for lo, hi in _holes(inputs.bounds[0], spans, times)]
    return found


def _holes(start_ms: int, spans: Sequence[Span], times: Sequence[int]) -> list[Span]:
    """Where exports leave out a time in which something went on, before the last of them ends."""
    ends = [start_ms, *(hi for _, hi in spans)]
    gaps = [(lo, hi) for lo, (hi, _) in zip(ends, spans, strict=False) if hi - lo >= SILENCE_LEAST_MS]
    return [(lo, hi) for lo, hi in gaps if bisect_left(times, lo) < bisect_left(times, hi)]


def _cover(db: Store, feed: Feed, bounds: Span) -> list[Span]:
    return intersect(union(cover_spans(db, [feed.name], *bounds)), [bounds])


def _side(
    settings: Settings, covers: dict[str, list[Span]], kinds: Iterable[str], bounds: Span
) -> list[Span]:
    """Spans that every feed of one side covers; none where the side has no feed at all."""
    sides = [covers[feed.name] for feed in settings.feed if feed.carries in kinds]
    if not sides:
        return []
    both = [bounds]
    for spans in sides:
        both = intersect(both, spans)
    return both


def _names(db: Store, today: Material, around: Iterable[Material]) -> dict[int, str]:
    """Names of every export that the day's lists may have to name."""
    return source_names(db, today.sources.union(*(material.sources for material in around)))
