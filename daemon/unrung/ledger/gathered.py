"""A finished day's facts out of its draft."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from operator import attrgetter
from typing import NamedTuple

from unrung.ledger.clocks import ClockNote
from unrung.ledger.coverage import Span, subtract
from unrung.ledger.draft import Draft, Seen
from unrung.ledger.facts import (
    ClockFact,
    DayFacts,
    FlowFact,
    KegFact,
    LogFact,
    RingFact,
    ServeFact,
    SilenceFact,
    TillFact,
)
from unrung.ledger.material import groups_of
from unrung.ledger.rest import Said
from unrung.ledger.rings import Unit
from unrung.ledger.tuples import made
from unrung.matching.types import Serve


class _Made(NamedTuple):
    """What every fact is made with."""

    draft: Draft
    clocks: Mapping[str, ClockFact]
    spans: Mapping[int, Span]
    """Of flows, by key."""
    reasons: Mapping[int, str]
    """Place of a rest to why it was written down."""


def day_facts(draft: Draft, said: Sequence[Said], notes: Sequence[ClockNote]) -> DayFacts:
    """The facts of the day that ``draft`` has become. Pure."""
    clocks = tuple(
        ClockFact(
            note.outlet, note.offset_ms, note.pairs, note.jump_at_ms or 0, note.jump_ms, note.doubt_ms)
        for note in notes
    )
    today = draft.material
    told = _Made(
        draft, {clock.outlet: clock for clock in clocks},
        {flow.key: (flow.start_ms, flow.end_ms) for flow in (*today.pours.beer, *today.pours.cleaning)},
        {rest.place: entry.reason for entry in said for rest, _ in entry.explained},
    )
    return DayFacts(
        today.day, today.bounds, _serves(draft.seen, told), tuple(sorted(_rings(told))),
        tuple(sorted(_flows(draft))), tuple(sorted(_kegs(draft))), tuple(sorted(_logs(said))),
        clocks, tuple(sorted(_silences(draft))), tuple(sorted(_till(told))),
        tuple(today.inputs.missing),
    )


_PARTS = Serve._fields.index("parts")
"""Up to there a serve says what its fact says behind the outlet."""


def _serves(seen: Sequence[Seen], told: _Made) -> tuple[ServeFact, ...]:
    """By the end of the pour."""
    facts = [*made(ServeFact, [
        (outlet, *serve[:_PARTS], tuple([(*told.spans[key], volume) for key, volume in serve.parts]),
         *(_UNRUNG if unit is None else _rung(unit, told)), serve.uncertain, other_size,
         *(_NOTHING_LEFT if rest is None and not (unit and unit.voided) else _left(one, told)))
        for one in seen for outlet, serve, unit, rest, other_size in (one,)
    ])]
    ends = map(attrgetter("end_ms"), facts)
    return tuple([fact for _, fact in sorted(zip(ends, facts, strict=True))])


_UNRUNG = (0, "", "", 0, False, False)
_NOTHING_LEFT = (0, 0, "")


def _rung(unit: Unit, told: _Made) -> tuple[int, str, str, int, bool, bool]:
    line, clock, at_ms = unit.line, told.clocks.get(unit.outlet), unit.at_ms
    corrected_ms = at_ms if clock is None else clock.corrected(at_ms)
    return unit.portion_ul, line.item, line.size, corrected_ms, unit.voided, unit.comp


def _left(seen: Seen, told: _Made) -> tuple[int, int, str]:
    """What of a serve without a pair is poured-not-rung, or could not be compared, and why it was written
    down."""
    rest = seen.rest
    if rest is None:
        return seen.serve.volume_ul, 0, ""
    reason = told.reasons.get(rest.place, "")
    return (0, rest.left_ul, reason) if rest.place in told.draft.not_compared else (rest.left_ul, 0, reason)


def _rings(told: _Made) -> Iterator[RingFact]:
    for unit, at_ms, counted in told.draft.lone_units:
        yield RingFact(
            unit.outlet, unit.product, unit.line.item, unit.line.size, unit.portion_ul, at_ms,
            unit.line.outlet, unit.line.at_ms, unit.line.origin.line, counted,
        )


def _flows(draft: Draft) -> Iterator[FlowFact]:
    for flow in draft.material.pours.gas:
        yield FlowFact(flow.tap, flow.product, flow.start_ms, flow.end_ms, flow.volume_ul, "gas")
    for done in draft.cleaned:
        flow = done.flow
        yield FlowFact(
            flow.tap, flow.product, flow.start_ms, flow.end_ms, done.logged_ul, "line_beer"
        )
        yield FlowFact(
            flow.tap, flow.product, flow.start_ms, flow.end_ms, done.not_beer_ul, "cleaning"
        )


def _kegs(draft: Draft) -> Iterator[KegFact]:
    for keg in draft.material.inputs.kegs:
        if keg.kind in ("on", "off"):
            yield KegFact(
                keg.at_ms, keg.kind, keg.tap, keg.product, str(keg.more.get("keg") or ""),
                int(keg.more.get("size_ul") or 0), int(keg.more.get("part_ul") or 0),
            )


def _logs(said: Sequence[Said]) -> Iterator[LogFact]:
    for entry in said:
        line = entry.line
        yield LogFact(
            entry.reason, line.at_ms or 0, getattr(line, "end_ms", None) or line.at_ms or 0,
            line.tap, entry.product, entry.outlet, entry.said_ul, entry.explained_ul,
        )


def _silences(draft: Draft) -> Iterator[SilenceFact]:
    inputs = draft.material.inputs
    for side, covered, left in (
        ("rings", inputs.ring_cover, draft.ring_cover),
        ("pours", inputs.pour_cover, draft.pour_cover["", ""]),
    ):
        yield from (SilenceFact(side, "", "", *hole) for hole in subtract(covered, left))
    yield from (SilenceFact("rings", outlet, "", *hole) for outlet, hole in draft.silent)
    yield from (SilenceFact("pours", *stuck[:2], *stuck[2]) for stuck in draft.stuck)


def _till(told: _Made) -> Iterator[TillFact]:
    groups = groups_of(told.draft.settings)
    start = told.draft.material.bounds[0]
    times: dict[tuple[str, str], list[int]] = defaultdict(list)
    for line in told.draft.material.inputs.rings:
        times[line.outlet, line.terminal].append(line.at_ms)
    for place, rung in times.items():
        clock = told.clocks.get(groups.get(place[0], place[0]))
        at = rung if clock is None else map(clock.corrected, rung)
        yield TillFact(*place, tuple(sorted([(at_ms - start) // 1000 for at_ms in at])))


