"""``top_ups``: short pours followed by a second small one on the same tap within seconds, so often
that the glasses end over their portion.

A tap is judged against the venue's other taps: the share of its glasses that are topped up, and how
much fuller those end than the tap's other glasses.
"""

from __future__ import annotations

from collections import ChainMap, defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from statistics import fmean, median
from typing import NamedTuple

from unrung.findings.certainty import confidence, level
from unrung.findings.facts import Facts, Window
from unrung.findings.fills import Fill, fills_of, remaining, second_goes
from unrung.findings.finding import Finding
from unrung.findings.glasses import Cell, Glasses, cell_of, in_several_goes, topped_up
from unrung.findings.plain import FAR
from unrung.findings.statistics import above_zero, binomial_tail
from unrung.findings.wording import figure, serve_volume, share, sum_volume
from unrung.settings import Settings
from unrung.venue_time import moment

CUT = 0.3
"""A glass that differs by more is another size: it may hold the second go at the glass beside it."""
FEWEST = 20
USUAL = 0.12
"""Share of glasses topped up that no tap is asked about (common practice, no source)."""
LEAST_OVER = 0.02
"""Topped-up glasses that end less than this share fuller than others are no loss."""


class Topped(NamedTuple):
    """A glass in several goes: its serve, pieces that were not joined to it, what it came to."""

    key: int
    pieces: tuple[int, ...]
    over: float
    """Share of its portion that it ends fuller than the plain glasses of its item at its tap."""


class _Several(NamedTuple):
    """Glasses of a cell on one day that were topped up."""

    first: int
    """Key of the day's first serve."""
    glasses: Glasses
    usual: float
    """Metered over set less 1 of the cell's plain glasses."""
    apart: Set[int]
    """Keys of those that are looked at one by one."""

    @property
    def near(self) -> int:
        """How many are no further than ``FAR`` from the usual."""
        numbers, of, usual = self.glasses.numbers, self.glasses, self.usual
        every = abs(of.most - usual) <= FAR and abs(of.least - usual) <= FAR
        if every and (not self.apart or self.apart.isdisjoint([self.first + number for number in numbers])):
            return len(numbers)
        return len(self.over())

    def over(self) -> dict[int, float]:
        """What each of them came to, as in ``Topped``."""
        return {
            key: over for number, ratio in zip(self.glasses.numbers, self.glasses.ratios, strict=True)
            if abs(over := ratio - self.usual) <= FAR and (key := self.first + number) not in self.apart
        }


@dataclass
class _Tap:
    """The paired serves of a tap."""

    several: list[_Several] = field(default_factory=list)
    one_by_one: dict[int, float] = field(default_factory=dict)
    """Others in several goes: what each came to, as in ``Topped``."""
    fills: list[Fill] = field(default_factory=list)
    doubtful: dict[Cell, set[int]] = field(default_factory=dict)
    """Serves in ``fills`` with pieces beside them, or of which another finding explains some."""
    others: list[float] = field(default_factory=list)
    """Metered over set less 1 of those of them that are plain all the same."""

    @cached_property
    def topped(self) -> int:
        """How many glasses in several goes there are."""
        return sum([one.near for one in self.several]) + len(self.one_by_one)

    def over(self) -> dict[int, float]:
        """What each of them came to, as in ``Topped``."""
        return dict(ChainMap(self.one_by_one, *(one.over() for one in self.several)))

    @cached_property
    def plain(self) -> int:
        """How many plain glasses there are."""
        filled = sum(fill.count - len(self.doubtful.get(fill.cell, ())) for fill in self.fills)
        return filled + len(self.others)

    def plain_ratios(self) -> list[float]:
        """Metered over set less 1 of each."""
        return self.others + [
            ratio for fill in self.fills for key, ratio in zip(fill.keys, fill.ratios, strict=True)
            if key not in self.doubtful.get(fill.cell, ())
        ]


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap."""
    goes = _goes(facts)
    taps = _taps(facts, goes)
    shares = {
        tap: own.topped / (own.topped + own.plain) for tap, own in taps.items() if own.plain >= FEWEST
    }
    usual = max(USUAL, median(shares.values())) if shares else 1.0
    made = (_judge(facts, settings, tap, taps[tap], goes, usual, len(shares)) for tap in sorted(shares))
    return [finding for finding in made if finding]


def _goes(facts: Facts) -> dict[int, list[int]]:
    """Paired serve to the lone pieces of it that nothing explains yet."""
    goes: dict[int, list[int]] = defaultdict(list)
    for piece, key in facts.window.pieces.items():
        if piece not in facts.taken:
            goes[key].append(piece)
    return goes


def _taps(facts: Facts, goes: Mapping[int, Sequence[int]]) -> dict[str, _Tap]:
    """Every tap with glasses."""
    taps: dict[str, _Tap] = defaultdict(_Tap)
    fills = fills_of(facts)
    for cell, fill in fills.items():
        taps[cell.tap].fills.append(fill)
    taken = facts.taken
    # What else is explained of a plain glass, its fill has left out already.
    apart = goes.keys() | {key for key, go in second_goes(facts).items() if key in taken and go in taken}
    apart |= {key for key in taken if facts.serves[key].paired and topped_up(facts.serves[key])}
    # A full glass that was topped up may be nearer another size: it is looked at all the same.
    for cell, days in _in_several_goes(facts.window).items():
        usual = fills[cell].mean if cell in fills else 0.0
        taps[cell.tap].several += [_Several(first, glasses, usual, apart) for first, glasses in days]
    for key in apart:
        if facts.serves[key].paired:
            _enter(facts, taps, fills, key, goes.get(key, ()))
    return taps


def _in_several_goes(window: Window) -> dict[Cell, list[tuple[int, Glasses]]]:
    """By cell, the glasses of each day that were topped up, with the key of the day's first serve."""
    found: dict[Cell, list[tuple[int, Glasses]]] = defaultdict(list)
    first = 0
    for day in window.days:
        for cell, glasses in in_several_goes(day).items():
            found[cell].append((first, glasses))
        first += len(day.serves)
    return found


def _enter(
    facts: Facts, taps: dict[str, _Tap], fills: Mapping[Cell, Fill], key: int, goes: Sequence[int]
) -> None:
    """One paired serve with pieces beside it, or of which another finding explains some."""
    serve = facts.serves[key]
    cell, tap = cell_of(serve), taps[serve.tap]
    fill = fills.get(cell)
    filled = fill is not None and fill.holds(key)
    if filled:
        tap.doubtful.setdefault(cell, set()).add(key)
    more = sum(facts.serves[piece].left_ul for piece in goes)
    ratio = (serve.difference_ul + more - facts.taken.get(key, 0)) / serve.portion_ul
    if not goes and not topped_up(serve):
        if filled:
            tap.others.append(ratio)
    elif abs(over := ratio - (fill.mean if fill else 0.0)) <= FAR:
        tap.one_by_one[key] = over


def _judge(
    facts: Facts, settings: Settings, tap: str, own: _Tap, goes: Mapping[int, Sequence[int]], usual: float,
    places: int,
) -> Finding | None:
    if own.topped < FEWEST:
        return None
    glasses = own.topped + own.plain
    chance = binomial_tail(own.topped, glasses, usual)
    if chance >= level(places):
        return None
    topped = [Topped(key, tuple(goes.get(key, ())), over) for key, over in sorted(own.over().items())]
    over = [glass.over for glass in topped]
    if not above_zero(over, level(places)) or fmean(over) < LEAST_OVER:
        return None
    claims = _claims(facts, topped, over) | _other_goes(facts, tap, fmean(own.plain_ratios()))
    serves = [facts.serves[glass.key] for glass in topped]
    volume = _in_all(facts, tap) or sum(claims.values())
    evidence = (
        f"{figure(len(topped), 0, settings)} of {figure(glasses, 0, settings)} glasses at tap {tap} were "
        "topped up by a second small pour "
        f"since {moment(serves[0].start_ms, settings)} ({share(len(topped) / glasses, settings)}, elsewhere "
        f"{share(usual, settings)}), and end {serve_volume(volume / len(topped), settings)} fuller than its "
        f"other glasses: {sum_volume(volume, settings)}."
    )
    return Finding(
        "top_ups", serves[0].outlet, f"Tap {tap}: glasses topped up", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms, serves[0].product, tap,
        claims, total_ul=volume,
    )


def _in_all(facts: Facts, tap: str) -> int:
    """What all glasses of the tap hold beyond the middle of their plain ones, second goes that stayed alone
    among them: a second go that was joined to the glass beside its own makes one of them as much too
    full as the other too short. A glass in one go that is nearer another size is one of that size. 0 where
    that is nothing."""
    usual = {cell: median(fill.ratios) for cell, fill in fills_of(facts).items() if cell.tap == tap}
    beyond = 0.0
    for key in facts.window.by_tap[tap]:
        serve = facts.serves[key]
        if serve.paired:
            own = remaining(facts, key) - usual.get(cell_of(serve), 0.0) * serve.portion_ul
            if serve.other_size and len(serve.parts) == 1 and own > 0:
                continue
            beyond += own if abs(own) <= CUT * serve.portion_ul else 0
        elif key in facts.window.pieces and key not in facts.taken:
            beyond += serve.left_ul
    return max(0, round(beyond))


def _other_goes(facts: Facts, tap: str, usual_fill: float) -> dict[int, int]:
    """What the tap's glasses in several large goes, such as pitchers, came to beyond its others."""
    found = {}
    for key in facts.window.by_tap[tap]:
        serve = facts.serves[key]
        if serve.paired and len(serve.parts) > 1 and not topped_up(serve) and not serve.other_size:
            beyond = serve.difference_ul - facts.taken.get(key, 0) - usual_fill * serve.portion_ul
            if abs(beyond) <= FAR * serve.portion_ul:
                found[key] = round(beyond)
    return found


def _claims(facts: Facts, topped: list[Topped], over: list[float]) -> dict[int, int]:
    """What each glass came to beyond the tap's other glasses: its pieces whole, its serve the rest."""
    claims: dict[int, int] = {}
    for glass, extra in zip(topped, over, strict=True):
        pieces = {piece: facts.serves[piece].left_ul for piece in glass.pieces}
        beyond = round(extra * facts.serves[glass.key].portion_ul)
        claims |= pieces
        claims[glass.key] = claims.get(glass.key, 0) + beyond - sum(pieces.values())
    return claims
