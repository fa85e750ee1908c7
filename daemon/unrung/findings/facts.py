"""What several days showed, in one row each, and what of it earlier findings have explained."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, partial
from itertools import accumulate, chain, pairwise
from typing import Any, TypeVar

from unrung.findings import of_a_day
from unrung.findings.hours import Hours, hours_of
from unrung.findings.pieces import pieces_of
from unrung.ledger.facts import DayFacts, RingFact, ServeFact
from unrung.ledger.material import groups_of
from unrung.settings import Settings

Made = TypeVar("Made")

DAYS = 28
"""A day's findings look back over so many business days, the day itself among them."""
LONGEST_MS = 3_600_000
"""No serve takes longer."""


@dataclass(frozen=True)
class Window:
    """Up to 28 business days in order; the last is the one that findings are for.

    Serves and lone rings are numbered through, in order of time: a number is a key.
    """

    days: tuple[DayFacts, ...]
    settings: Settings
    _made: dict[str, Any] = field(default_factory=dict)

    def once(self, name: str, make: Callable[[], Made]) -> Made:
        """What ``make`` makes of the window, made once."""
        if name not in self._made:
            self._made[name] = make()
        made: Made = self._made[name]
        return made

    @cached_property
    def serves(self) -> list[ServeFact]:
        return [*chain.from_iterable([day.serves for day in self.days])]

    @cached_property
    def rings(self) -> list[RingFact]:
        return [*chain.from_iterable([day.rings for day in self.days])]

    @cached_property
    def hours(self) -> Hours:
        """When the venue was open."""
        return hours_of(self.days, self.settings)

    @cached_property
    def _first_keys(self) -> list[int]:
        return [0, *accumulate(len(day.serves) for day in self.days)]

    def day_of(self, key: int) -> int:
        """Which day of the window a serve belongs to, from 0."""
        return bisect_right(self._first_keys, key) - 1

    def per_day(self, keys: Sequence[int]) -> list[int]:
        """How many of ``keys`` (in order) each day has."""
        places = [bisect_left(keys, first) for first in self._first_keys]
        return [after - before for before, after in pairwise(places)]

    def keys_of(
        self, name: str, numbers_of: Callable[[DayFacts], Sequence[int]], given: object = None
    ) -> list[int]:
        """Keys of the serves whose numbers within their day ``numbers_of`` gives, for a day and for what it
        is ``given`` besides (the settings, or None); asked once a day."""
        return [
            first + number for first, day in zip(self._first_keys, self.days, strict=False)
            for number in day.once(name, given, partial(numbers_of, day))
        ]

    @cached_property
    def by_tap(self) -> dict[str, list[int]]:
        """Keys of each tap's serves, in order of time."""
        found: dict[str, list[int]] = defaultdict(list)
        for first, day in zip(self._first_keys, self.days, strict=False):
            for tap, numbers in day.once("by tap", None, partial(of_a_day.by_tap, day)).items():
                found[tap] += [first + number for number in numbers]
        return dict(sorted(found.items()))

    @cached_property
    def served_at(self) -> Counter[str]:
        """How many serves each tap had."""
        found: Counter[str] = Counter()
        for day in self.days:
            for tap, numbers in day.once("by tap", None, partial(of_a_day.by_tap, day)).items():
                found[tap] += len(numbers)
        return found

    @cached_property
    def served(self) -> Counter[str]:
        """How many serves each outlet had."""
        found: Counter[str] = Counter()
        for day in self.days:
            found.update(day.once("served", None, partial(of_a_day.served, day)))
        return found

    @cached_property
    def paired(self) -> Counter[str]:
        """How many serves of each outlet a ring answers."""
        found: Counter[str] = Counter()
        for day in self.days:
            found.update(day.once("paired of outlets", None, partial(of_a_day.paired, day)))
        return found

    @cached_property
    def leaving(self) -> list[int]:
        """Keys of the serves that leave poured-not-rung beer."""
        return self.keys_of("leaving", of_a_day.leaving)

    def flows(self, tap: str, from_ms: int, to_ms: int) -> list[tuple[int, int, int, int]]:
        """A tap's single flows that begin in a span, by their start: (start, end, volume, serve that it
        is part of)."""
        keys, serves = self.by_tap[tap], self.serves
        low, high = (
            bisect_left(keys, at_ms, key=lambda key: serves[key].end_ms)
            for at_ms in (from_ms, to_ms + LONGEST_MS)
        )
        return sorted([
            (*part, key) for key in keys[low:high] if serves[key].start_ms <= to_ms
            for part in serves[key].parts if from_ms <= part[0] <= to_ms
        ])

    @cached_property
    def tap_named(self) -> dict[str, str]:
        """Every name of a tap or meter, without regard to case, to the tap."""
        found: dict[str, str] = {}
        for row in self.settings.taps:
            for name in (row.tap, row.meter):
                found.setdefault(name.casefold(), row.tap)
        return found

    @cached_property
    def kegs_on(self) -> dict[str, list[int]]:
        """Tap to the moments at which a keg went on."""
        found: dict[str, list[int]] = defaultdict(list)
        for day in self.days:
            for keg in day.kegs:
                if keg.kind == "on":
                    found[self.tap_named.get(keg.tap.casefold(), keg.tap)].append(keg.at_ms)
        return dict(sorted(found.items()))

    @cached_property
    def pieces(self) -> dict[int, int]:
        """Lone small flow to the serve that it is a second go at."""
        days = [day.once("pieces", None, partial(of_a_day.beside, day)) for day in self.days]
        return pieces_of(zip(self._first_keys, days, strict=False))

    @cached_property
    def portions(self) -> dict[str, list[int]]:
        """Each product's portions on the menu, in microlitres, smallest first."""
        found: dict[str, set[int]] = defaultdict(set)
        for row in self.settings.menu:
            if row.product and row.portion_ul:
                found[row.product].add(row.portion_ul)
        return {product: sorted(portions) for product, portions in sorted(found.items())}

    @cached_property
    def poured_by_end(self) -> dict[tuple[str, str], tuple[list[int], list[int]]]:
        """Per outlet and product: ends of its serves, and the volume of those before each of them."""
        found: dict[tuple[str, str], tuple[list[int], list[int]]] = defaultdict(lambda: ([], [0]))
        for day in self.days:
            own = day.once("poured", None, partial(of_a_day.poured, day))
            for place, (own_ends, own_sums) in own.items():
                ends, sums = found[place]
                before = sums[-1]
                ends += own_ends
                sums += [before + own for own in own_sums]
        return found

    @cached_property
    def poured_ul(self) -> dict[tuple[str, str], int]:
        """All that the serves of each outlet and product held."""
        return {place: sums[-1] for place, (_, sums) in self.poured_by_end.items()}

    @cached_property
    def today(self) -> tuple[range, range]:
        """Keys of the last day's serves and lone rings."""
        last = self.days[-1]
        serves, rings = len(self.serves), len(self.rings)
        return range(serves - len(last.serves), serves), range(rings - len(last.rings), rings)

    @cached_property
    def outlet_of_tap(self) -> dict[str, str]:
        """Each tap's own outlet, pooled or not."""
        return {row.tap: row.outlet for row in self.settings.taps}

    @cached_property
    def group_of(self) -> dict[str, str]:
        """Outlet to itself, or to its pool."""
        return groups_of(self.settings)

    @cached_property
    def meter_of_tap(self) -> dict[str, str]:
        return {row.tap: row.meter or row.tap for row in self.settings.taps}


@dataclass(frozen=True)
class Facts:
    """A window, and what of it is left to explain."""

    window: Window
    taken: Mapping[int, int] = field(default_factory=dict)
    """Serve to the microlitres of it that are explained; signed for a paired serve."""
    taken_rings: frozenset[int] = frozenset()
    _made: dict[str, Any] = field(default_factory=dict)
    _at_taps: dict[str, dict[str, Any]] = field(default_factory=dict)

    def once(self, name: str, make: Callable[[Facts], Made]) -> Made:
        """What ``make`` makes of these facts, made once for all findings that need it."""
        if name not in self._made:
            self._made[name] = make(self)
        made: Made = self._made[name]
        return made

    def once_at(self, tap: str, name: str, make: Callable[[], Made]) -> Made:
        """What ``make`` makes of one tap's glasses, made once until some of them are explained."""
        known = self._at_taps.setdefault(tap, {})
        if name not in known:
            known[name] = make()
        made: Made = known[name]
        return made

    @property
    def settings(self) -> Settings:
        return self.window.settings

    @property
    def day(self) -> DayFacts:
        """The day that findings are for."""
        return self.window.days[-1]

    @cached_property
    def serves(self) -> list[ServeFact]:
        return self.window.serves

    @cached_property
    def rings(self) -> list[RingFact]:
        return self.window.rings

    @cached_property
    def lone(self) -> list[int]:
        """Serves that leave poured-not-rung beer which nothing has explained yet."""
        return [key for key in self.window.leaving if key not in self.taken]

    @cached_property
    def lone_rings(self) -> list[int]:
        """Rings that count as rung-not-poured and that nothing has explained yet."""
        return [
            key for key, ring in enumerate(self.rings)
            if ring.counted and key not in self.taken_rings
        ]

    @cached_property
    def lone_by_tap(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for key in self.lone:
            found[self.serves[key].tap].append(key)
        return dict(sorted(found.items()))

    def less(self, claims: Iterable[tuple[Mapping[int, int], Iterable[int]]]) -> Facts:
        """The facts without what findings explain: (serves, rings) of each."""
        claims = list(claims)
        if not any(serves or lone for serves, lone in claims):
            return self
        taken, rings = dict(self.taken), set(self.taken_rings)
        fuller: set[str] = set()
        alone = self.window.once("without ring", lambda: set(
            self.window.keys_of("without ring", of_a_day.without_ring)))
        for serves, lone in claims:
            taken |= {**serves, **{key: taken[key] + serves[key] for key in taken.keys() & serves.keys()}}
            fuller.update(one.tap for key in serves.keys() - alone if (one := self.serves[key]).paired)
            rings.update(lone)
        # What lone pours explain leaves the glasses of paired serves as they were.
        at_taps = {tap: made for tap, made in self._at_taps.items() if tap not in fuller}
        return Facts(self.window, taken, frozenset(rings), {} if fuller else self._made, at_taps)


def facts_of(days: Sequence[DayFacts], settings: Settings) -> Facts:
    """Facts of the last day of ``days`` (in order) and of what the window holds before it."""
    kept = [day for day in days if (days[-1].day - day.day).days < DAYS]
    return Facts(Window(tuple(kept), settings))


def first_day(day: date) -> date:
    """The first business day of the window that ends with ``day``."""
    return date.fromordinal(day.toordinal() - DAYS + 1)
