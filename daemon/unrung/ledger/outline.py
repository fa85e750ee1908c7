"""A day in outline: what the days beside it need to know of it, where nothing reaches across the edge.

Most bars are shut at the edge of their business day: no ring of one day can have its pour in the other. Such
a neighbour changes nothing, whatever it holds, and its outline tells so without its rows. Where something may
reach across, or may not be ruled out cheaply, nothing is claimed.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from unrung.ledger.clocks import ClockNote
from unrung.ledger.coverage import Span
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.ledger.hour_shift import REACH_MS, Rung, sure_of_hours
from unrung.ledger.inputs import DayInputs
from unrung.ledger.material import Material
from unrung.ledger.pours import DayPours
from unrung.ledger.rings import DayRings
from unrung.matching.types import MatchSettings

if TYPE_CHECKING:
    from unrung.matching.prepare import Prepared

ALWAYS = (-(1 << 62), 1 << 62)
_DOUBT_MS = 1
"""Windows are compared in fractions of a second elsewhere."""


class Reach(NamedTuple):
    """How far one outlet or pool of a day goes: first and last moments (UTC ms), None where it has none."""

    rings: Span | None = None
    """Ring units and log entries, by the clock that matching learnt from the day."""
    serves: Span | None = None
    """Their ends."""
    rung: Span | None = None
    """Ring units that stand, by the till's clock."""
    listens: Span | None = None
    """Between which moments of the till's clock another day's ring has a say in whether the till is whole
    hours off."""
    confused: tuple[tuple[str, str], ...] = ()
    """(product rung, product poured) that the day takes for each other; its neighbours look out for them."""


class Outline(NamedTuple):
    """One business day."""

    bounds: Span
    outlets: Mapping[str, Reach]
    kegs: tuple[str, ...]
    """Numbers of the kegs that went on: put on again the next day, they earn no allowance."""

    @property
    def stands_for_itself(self) -> bool:
        """Whether a neighbour that it does not reach needs none of its rows."""
        return not any(reach.confused for reach in self.outlets.values())


def outline_of(material: Material) -> Outline:
    """Of a day whose own findings are not known: ``listens`` is left out."""
    outlets, rung = {}, material.rung
    for outlet, day in material.prepared.items():
        confused = tuple((day.products[one], day.products[two]) for one, two in day.confusion)
        outlets[outlet] = Reach(
            _ends(day.rings.corrected.tolist()), _ends(day.glasses.end.tolist()),
            _ends(rung[outlet].at_ms if outlet in rung else ()), None, confused,
        )
    kegs = {str(keg.more.get("keg") or "") for keg in material.inputs.kegs if keg.kind == "on"}
    return Outline(material.bounds, outlets, tuple(sorted(kegs)))


def empty_outline(bounds: Span, outlets: Iterable[str]) -> Outline:
    """Of a day on which nothing happened, at a venue with these outlets or pools."""
    return Outline(bounds, {outlet: Reach() for outlet in outlets}, ())


def in_outline(inputs: DayInputs, outline: Outline, beside: Material) -> Material:
    """The material of a day of which only the kegs were read: as good as the whole to the day ``beside`` it
    that it is ``apart`` from, where it ``stands_for_itself``."""
    nothing = _without_rows(beside.prepared_for(min(beside.prepared, default="")), inputs.bounds)
    return Material(
        inputs.day, inputs.bounds, inputs, beside.menu, DayRings(), DayPours(), beside.options,
        dict.fromkeys(outline.outlets, nothing),
    )


def _without_rows(day: Prepared, bounds: Span) -> Prepared:
    """A day without a ring or serve. Its laws and clock say nothing, since no row asks them."""
    from unrung.matching.serves import serves_at  # numpy and scipy load at first use
    from unrung.matching.sides import glasses_at, rings_at

    none = slice(0, 0)
    return replace(
        day, bounds=bounds, products=(), taps=(), serves=serves_at(day.serves, none, 0),
        glasses=glasses_at(day.glasses, none), rings=rings_at(day.rings, none), ring_key=day.ring_key[none],
        confusion=(), blurred=False,
    )


def listening(
    outline: Outline, material: Material, facts: DayFacts, clocks: Iterable[ClockNote]
) -> Outline:
    """The outline of a day whose ledger is made, with what it ``listens`` to."""
    by_outlet = {clock.outlet: clock for clock in clocks}
    serves: dict[str, list[ServeFact]] = defaultdict(list)
    for serve in facts.serves:
        serves[serve.outlet].append(serve)
    rung = material.rung
    return outline._replace(outlets={
        outlet: reach._replace(
            listens=_listens(by_outlet.get(outlet), rung.get(outlet, Rung([], [])), serves[outlet]))
        for outlet, reach in outline.outlets.items()
    })


def _listens(clock: ClockNote | None, rung: Rung, serves: Sequence[ServeFact]) -> Span | None:
    if clock is None or not sure_of_hours(rung, clock, serves):
        return ALWAYS
    ends = _ends([serve.end_ms for serve in serves])
    if ends is None:
        return None
    # A jump may lie before or after, so it counts for both.
    return (ends[0] - REACH_MS + clock.offset_ms + min(0, clock.jump_ms),
            ends[1] + REACH_MS + clock.offset_ms + max(0, clock.jump_ms))


def apart(early: Outline, late: Outline, options: MatchSettings) -> bool:
    """Whether no ring or serve of one day can have its partner, or its place, in the other."""
    edge_ms = late.bounds[0]
    before_ms, after_ms = options.window_before_ms + _DOUBT_MS, options.window_after_ms + _DOUBT_MS
    for outlet in {*early.outlets, *late.outlets}:
        one, two = early.outlets.get(outlet, Reach()), late.outlets.get(outlet, Reach())
        if (one.rings and one.rings[1] >= edge_ms) or (two.rings and two.rings[0] < edge_ms):
            return False
        if two.rings and one.serves and two.rings[0] - one.serves[1] <= after_ms:
            return False
        if one.rings and two.serves and two.serves[0] - one.rings[1] <= before_ms:
            return False
    return True


def seen_by(before: Outline, today: Outline, after: Outline, options: MatchSettings) -> str:
    """All that a day whose outline is ``listening`` sees of its two neighbours, as a text; empty where they
    may reach into it, so that their rows have to be looked at."""
    if not apart(before, today, options) or not apart(today, after, options):
        return ""
    for beside in (before, after):
        for outlet, reach in today.outlets.items():
            if _meet(beside.outlets.get(outlet, Reach()).rung, reach.listens):
                return ""
    return json.dumps([_names(before), _names(after), before.kegs], ensure_ascii=False)


def _names(outline: Outline) -> list[object]:
    """The outlets of a day, which its neighbours know of, and what it takes for each other there."""
    return [[outlet, reach.confused] for outlet, reach in sorted(outline.outlets.items())]


def _meet(one: Span | None, two: Span | None) -> bool:
    return one is not None and two is not None and one[0] <= two[1] and two[0] <= one[1]


def _ends(times: Sequence[int]) -> Span | None:
    return (min(times), max(times)) if times else None


def as_text(outline: Outline) -> str:
    """JSON, for ``from_text``."""
    return json.dumps(outline, ensure_ascii=False)


def from_text(text: str) -> Outline:
    """The outline that ``as_text`` made a text of."""
    bounds, outlets, kegs = json.loads(text)
    reaches = {
        outlet: Reach(_span(rings), _span(serves), _span(rung), _span(listens),
                      tuple((one, two) for one, two in confused))
        for outlet, (rings, serves, rung, listens, confused) in outlets.items()
    }
    return Outline((bounds[0], bounds[1]), reaches, tuple(kegs))


def _span(ends: Sequence[int] | None) -> Span | None:
    return None if ends is None else (ends[0], ends[1])
