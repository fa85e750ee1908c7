"""What a till line took back of an earlier one, and what stands."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from operator import attrgetter, eq
from typing import NamedTuple

from unrung.ledger.inputs import RingLine


class Part(NamedTuple):
    """Some quantity of one line with one fate."""

    line: RingLine
    micro: int
    voided: bool
    voided_ms: int | None
    """None where the till does not say when."""


@dataclass(slots=True)
class Resolved:
    """One day's lines but refunds."""

    parts: list[Part] = field(default_factory=list)
    stray: list[RingLine] = field(default_factory=list)
    """Lines that take back more than any line of the day holds."""


def ring_order(line: RingLine) -> tuple[object, ...]:
    """Till lines in order of time, equal times by content: never by where they stood in a file."""
    return (
        line.at_ms, line.check, line.item, line.size, line.price_level, line.modifier, line.kind,
        line.units_micro, line.terminal, line.outlet, line.amount_minor or 0, line.tax_minor or 0,
        line.voided_ms or 0, line.voids_ref, line.origin, line.id,
    )


_AT = attrgetter("at_ms")


def resolve_voids(lines: Iterable[RingLine]) -> Resolved:
    """Lines in parts: what a later line took back, and what stands.

    A negative line takes back, and so does a void that names another line. It takes back the line
    with the id that it names, of its own feed; where it names none, the last ones like it on the same
    check, or from the same terminal where the till gives no check.
    """
    ordered = _in_order(lines)
    taking = [one for one in ordered if one.units_micro < 0 or (one.kind == "void" and _names_another(one))]
    if not taking:
        whole = [line for line in ordered if line.units_micro]
        return Resolved([Part(one, one.units_micro, one.kind == "void", one.voided_ms) for one in whole])
    ids = {line.id for line in taking}
    standing = _Standing([line for line in ordered if line.id not in ids])
    found = Resolved()
    for line in taking:
        left, target = abs(line.units_micro), standing.target(line)
        while left and target is not None:
            micro = min(left, standing.left(target))
            standing.taken[target.id] += micro
            left -= micro
            at_ms = line.at_ms if line.voided_ms is None else line.voided_ms
            found.parts.append(Part(target, micro, True, at_ms))
            target = standing.target(line)
        if left:
            found.stray.append(line)
    for line in standing.lines:
        if rest := standing.left(line):
            found.parts.append(Part(line, rest, line.kind == "void", line.voided_ms))
    rank = {line.id: nth for nth, line in enumerate(ordered)}
    found.parts.sort(key=lambda part: (rank[part.line.id], part.voided, part.voided_ms or 0, part.micro))
    return found


def _in_order(lines: Iterable[RingLine]) -> list[RingLine]:
    """As ``ring_order`` has them: most are told apart by when they were rung."""
    ordered = sorted(lines, key=_AT)
    times = [*map(_AT, ordered)]
    if not any(map(eq, times, times[1:])):
        return ordered
    found: list[RingLine] = []
    for _, equal in groupby(ordered, key=_AT):
        one, *more = equal
        found += sorted([one, *more], key=ring_order) if more else [one]
    return found


def _names_another(void: RingLine) -> bool:
    return void.voids_ref not in ("", void.origin.ref)


def same_sale(line: RingLine) -> tuple[str, str]:
    """What lines of one sale share: their check, or their terminal where the till gives no check."""
    return ("check", line.check) if line.check else ("terminal", line.terminal)


class _Standing:
    """Lines that can be taken back, found by id and by likeness."""

    def __init__(self, lines: Sequence[RingLine]) -> None:
        self.lines = lines
        self.taken: Counter[int] = Counter()
        self._by_ref: dict[tuple[str, str], list[RingLine]] = defaultdict(list)
        self._like: dict[tuple[str, ...], list[RingLine]] = defaultdict(list)
        for line in lines:
            self._by_ref[line.origin.feed, line.origin.ref].append(line)
            self._like[_likeness(line)].append(line)

    def left(self, line: RingLine) -> int:
        return line.units_micro - self.taken[line.id]

    def target(self, void: RingLine) -> RingLine | None:
        """The line of which ``void`` takes back next; None where nothing is left of it."""
        if void.voids_ref:
            lines = self._by_ref[void.origin.feed, void.voids_ref]
        else:
            lines = [line for line in self._like[_likeness(void)] if line.at_ms <= void.at_ms]
        if void.kind == "training":
            lines = [line for line in lines if line.kind == "training"]
        return next((line for line in reversed(lines) if self.left(line) > 0), None)


def _likeness(line: RingLine) -> tuple[str, ...]:
    return (
        line.origin.feed, line.outlet, line.item, line.size, line.price_level, line.modifier,
        *same_sale(line),
    )
