"""From the store to one day's ledger: loads what the pure functions need, and nothing more."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from unrung import __version__
from unrung.business_day import business_day, day_bounds
from unrung.closed_days import is_closed
from unrung.covering import covers_of
from unrung.ledger.coverage import SILENCE_LEAST_MS, Span, intersect
from unrung.ledger.day import compute_day
from unrung.ledger.inputs import DayInputs, LogLine, fill
from unrung.ledger.material import Material, make_materials, match_settings, rings_of
from unrung.ledger.outlets import Outlets
from unrung.ledger.outline import (
    Outline,
    apart,
    as_text,
    empty_outline,
    from_text,
    in_outline,
    listening,
    outline_of,
    seen_by,
)
from unrung.ledger.results import DayLedger
from unrung.ledger.sealed import NOTHING, Handed, handed
from unrung.metering import add_metered
from unrung.settings import Settings
from unrung.store.lines import kinds_between, lines_between, lines_of_day
from unrung.store.months import sealed_units
from unrung.store.open import Store
from unrung.store.outlines import outline_row
from unrung.store.sources import source_names
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
    what they need is made ready together with what this one needs. Of a neighbour that is kept in outline no
    row is read, unless it may reach into the day."""
    around = _around(day)
    for old in [known for known in cache if known < around[0]]:
        del cache[old]
    kept = {
        one: outline for one in (around[0], around[2]) if one not in cache and one not in following
        and (outline := kept_outline(db, settings, one)) and outline.stands_for_itself
    }
    bare = _make_ready(db, settings, day, cache, following, kept)
    if bare and not _keep_apart(bare, cache[day], kept, settings):
        kept, bare = {}, _make_ready(db, settings, day, cache, (), {})
    ledger = _ledger(db, settings, [(bare | cache)[one] for one in around], kept)
    if bare and not ledger.seen:
        _make_ready(db, settings, day, cache, (), {})
        ledger = _ledger(db, settings, [cache[one] for one in around], {})
    return ledger


def kept_outline(db: Store, settings: Settings, day: date) -> Outline | None:
    """The outline of a day as it was computed last, where it is still the same; or of one without a row."""
    if edge_is_sealed(db, day):
        return None
    row = outline_row(db, day)
    if row is not None and row.current and row.made_with == made_with(settings):
        return from_text(row.outline)
    bounds = bounds_of(settings, day)
    if _runs_over_edges(settings) or kinds_between(db, *bounds):
        return None
    return empty_outline(bounds, Outlets(settings).names)


def edge_is_sealed(db: Store, day: date) -> bool:
    """Whether a closed period ends where the day begins or ends: which side a ring belongs to is settled."""
    return any(sealed_units(db, last) is not None for last in (day - timedelta(days=1), day))


def made_with(settings: Settings) -> str:
    """What a day's ledger is made with, beside movements: the config and the program."""
    return f"{settings.digest} {__version__}"


def _around(day: date) -> list[date]:
    return [day + timedelta(days=n) for n in (-1, 0, 1)]


def _make_ready(
    db: Store, settings: Settings, day: date, cache: Cache, following: Sequence[date],
    kept: Mapping[date, Outline],
) -> Cache:
    """Fill ``cache`` for ``day``. Days that are ``kept`` in outline are given back, with their kegs alone."""
    if cache.keys() | kept.keys() >= {*_around(day)}:
        following = ()
    needed = {one for middle in (day, *following) for one in _around(middle)}
    whole = sorted(needed - cache.keys() - kept.keys())
    known, days = {one: material.inputs for one, material in cache.items()}, []
    for one in whole:
        days.append(_gathered(db, settings, one, known.get(one - timedelta(days=1))))
        known[one] = days[-1][0]
    if days:
        cache.update(zip(whole, make_materials(days, settings), strict=True))
    return {one: in_outline(_bare(db, settings, one), kept[one], cache[day]) for one in kept}


def _bare(db: Store, settings: Settings, day: date) -> DayInputs:
    bounds = bounds_of(settings, day)
    return fill(DayInputs(day, bounds), "keg", lines_between(db, "keg", *bounds))


def _keep_apart(bare: Cache, today: Material, kept: Mapping[date, Outline], settings: Settings) -> bool:
    """Whether no row of the days kept in outline can be of use to ``today``."""
    options, own = match_settings(settings.matching), outline_of(today)
    return not today.handed.start and not today.handed.end and all(
        apart(kept[day], own, options) if day < today.day else apart(own, kept[day], options) for day in bare
    )


def _ledger(
    db: Store, settings: Settings, around: Sequence[Material], kept: Mapping[date, Outline]
) -> DayLedger:
    """The ledger of the middle one of three days, with what its neighbours may do with."""
    before, today, after = around
    ledger = compute_day(before, today, after, settings, _names(db, today, (before, after)))
    if ledger.facts is None or today.handed.start or today.handed.end or _runs_over_edges(settings):
        return ledger
    one, own, two = (kept.get(material.day) or outline_of(material) for material in around)
    own = listening(own, today, ledger.facts, ledger.clocks)
    seen = seen_by(one, own, two, match_settings(settings.matching))
    return replace(ledger, outline=as_text(own), seen=seen)


def _runs_over_edges(settings: Settings) -> bool:
    """Whether what flowed on a day is told by a row of the day after: a meter's next reading, or a count of
    the span that ends as that day starts."""
    return any(feed.carries == "readings" or feed.resolution == "interval" for feed in settings.feed)


def material_of(db: Store, settings: Settings, day: date) -> Material:
    """One day's movements made ready. At the edge of a closed period, with the rings that cross it."""
    return make_materials([_gathered(db, settings, day)], settings)[0]


def _gathered(
    db: Store, settings: Settings, day: date, known: DayInputs | None = None
) -> tuple[DayInputs, Handed]:
    before, _, after = _around(day)
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
    inputs.cleaning = cleaning_over_the_edge(db, settings, day, before)
    covers = covers_of(db, settings, bounds)
    inputs.ring_cover = _side(settings, covers, ("rings",), bounds)
    inputs.pour_cover = _side(settings, covers, ("pours", "readings"), bounds)
    inputs.missing = missing(settings, inputs, covers)
    return inputs


def cleaning_over_the_edge(
    db: Store, settings: Settings, day: date, before: DayInputs | None = None
) -> list[LogLine]:
    """Cleaning entries of the day before whose span reaches into this day; see ``day_inputs``."""
    if before is None:
        bounds = bounds_of(settings, day - timedelta(days=1))
        before = fill(DayInputs(day, bounds), "log", lines_between(db, "log", *bounds))
    edge_ms = bounds_of(settings, day)[0]
    return [
        log for log in before.logs
        if log.reason == "cleaning" and log.at_ms is not None and (log.end_ms or 0) > edge_ms
    ]


def missing(settings: Settings, inputs: DayInputs, covers: dict[str, list[Span]]) -> list[str]:
    """Feeds that do not cover the day up to its last activity, as sentences."""
    if _is_closed(settings, inputs):
        return []
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
            found.append(f"{name} end at {clock(spans[-1][1], settings)}")
        found += [f"{name} missing from {clock(lo, settings)} to {clock(hi, settings)}"
                  for lo, hi in _holes(inputs.bounds[0], spans, times)]
    return found


def _is_closed(settings: Settings, inputs: DayInputs) -> bool:
    """Whether nothing is to be missed of a day without trade: nothing was rung, and nothing flowed but
    where lines were being cleaned."""
    if not is_closed(settings.venue.closed, inputs.day) or inputs.rings:
        return False
    cleaned = [
        (log.at_ms, log.end_ms or log.at_ms) for log in (*inputs.logs, *inputs.cleaning)
        if log.reason == "cleaning" and log.at_ms is not None
    ]
    return all(any(low <= pour.end_ms <= high for low, high in cleaned) for pour in inputs.pours)


def _holes(start_ms: int, spans: Sequence[Span], times: Sequence[int]) -> list[Span]:
    """Where exports leave out a time in which something went on, before the last of them ends."""
    ends = [start_ms, *(hi for _, hi in spans)]
    gaps = [(lo, hi) for lo, (hi, _) in zip(ends, spans, strict=False) if hi - lo >= SILENCE_LEAST_MS]
    return [(lo, hi) for lo, hi in gaps if bisect_left(times, lo) < bisect_left(times, hi)]


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
