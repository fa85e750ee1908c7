"""The bar at work: pours run, kegs empty, lines are rung, and each event keeps its own label.

The labels are the truth: who poured what for which line is written down as it happens, and never
worked out afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil
from typing import Literal

from sample_venue.chance import Dice
from sample_venue.place import KEG_UL, OUNCE, TAPS, Item, Tap, oz

UNIT = 1_000_000
SERVED_BY = {"Till 1": ("04", "11"), "Till 2": ("07", "15"), "Till 3": ("09", "12")}
TERMINALS = {"Long Bar": ("Till 1", "Till 2"), "Garden Bar": ("Till 3",)}

Status = Literal["", "VOID", "COMP", "REFUND", "TRAINING"]
Fate = Literal["rung", "voided", "lone", "log", "keg_change", "no_pour", "unmetered"]


@dataclass(eq=False, slots=True)
class Pour:
    tap: Tap
    start: int
    end: int
    ul: int
    label: str = "beer"
    id: str = ""


@dataclass(eq=False, slots=True)
class Line:
    """One line of the till, at its true time."""

    at: int
    check: str
    terminal: str
    outlet: str
    item: Item
    micro: int
    cents: int
    status: Status = ""
    void_at: int | None = None
    takes_back: Line | None = None
    served_by: str = ""
    id: str = ""


@dataclass(eq=False, slots=True)
class Serve:
    """One vessel, or a ring unit's portion that no meter saw."""

    outlet: str
    product: str
    at: int
    """End of its pour, or the line's time where there was none."""
    fate: Fate
    portion_ul: int = 0
    shares: list[tuple[Pour, int]] = field(default_factory=list)
    lines: tuple[Line, ...] = ()
    note: str = ""

    @property
    def ul(self) -> int:
        return sum(share for _, share in self.shares)


@dataclass(eq=False, slots=True)
class KegRow:
    at: int
    kind: str
    outlet: str
    product: str
    tap: str = ""
    kegs: int = 1
    part_oz: int | None = None
    cents: int | None = None
    to_outlet: str = ""
    id: str = ""


@dataclass(eq=False, slots=True)
class LogRow:
    """One row of the sheet; ``at`` is None where only the day was written."""

    written: int
    reason: str
    outlet: str
    product: str = ""
    at: int | None = None
    until: int | None = None
    tap: str = ""
    item: str = ""
    count: int = 1
    ounces: str = ""
    said_ul: int = 0
    pours: list[Pour] = field(default_factory=list)


@dataclass(slots=True)
class Week:
    pours: list[Pour] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    serves: list[Serve] = field(default_factory=list)
    kegs: list[KegRow] = field(default_factory=list)
    log: list[LogRow] = field(default_factory=list)


class RanDry(Exception):
    """The keg of this tap ran out in the middle of the story, where its foam would confuse."""


class Bar:
    """Pours, rings and keg changes, one thing at a time on each tap."""

    def __init__(self, seed: int, left_oz: Mapping[str, int]) -> None:
        self.dice = Dice(seed)
        self.week = Week()
        self.free = {t.name: 0 for t in TAPS}
        self.left = {name: oz(ounces) for name, ounces in left_oz.items()}
        self.full: dict[tuple[str, str], int] = {}
        self.steady: list[tuple[str, str, int, int]] = []
        """Spans in which a beer's keg must not run out: outlet, product, from, to."""
        self._check = 1000

    def check(self) -> str:
        self._check += 1
        return str(self._check)

    def terminal(self, outlet: str) -> str:
        return self.dice.pick([(name, 1) for name in TERMINALS[outlet]])

    def flow(
        self, tap: Tap, at: int, ounces: float, *, speed: float = 0, label: str = "beer"
    ) -> Pour:
        """One run of the tap, at ``speed`` ounces a second (about two by default)."""
        start = max(at, self.free[tap.name])
        seconds = ceil(ounces / (speed or self.dice.between(1.8, 2.4)))
        pour = Pour(tap, start, start + seconds, round(ounces * OUNCE / 100) * 100, label)
        self.free[tap.name] = pour.end + self.dice.whole(6, 9)
        if label == "beer":
            self.left[tap.name] -= pour.ul
        self.week.pours.append(pour)
        return pour

    def fill(self, tap: Tap, at: int, ounces: int) -> Pour:
        """A glass of ``ounces`` by hand; one tap always gives a little too much."""
        heavy = 1.045 if tap.name == "L3" else 1.0
        return self.flow(tap, at, ounces * heavy * (1 + self.dice.hand()))

    def serve(
        self, pours: list[Pour], ounces: int, fate: Fate, lines: tuple[Line, ...] = (),
        note: str = "",
    ) -> Serve:
        """The vessel that ``pours`` filled, each wholly."""
        tap = pours[0].tap
        return self.book(Serve(
            tap.outlet, tap.product, pours[-1].end, fate, oz(ounces),
            [(p, p.ul) for p in pours], lines, note,
        ))

    def book(self, serve: Serve) -> Serve:
        self.week.serves.append(serve)
        return serve

    def ring(
        self, at: int, outlet: str, item: Item, *, units: float = 1, check: str = "",
        terminal: str = "", status: Status = "", cents: int | None = None,
    ) -> Line:
        terminal = terminal or self.terminal(outlet)
        check = check or self.check()
        line = Line(
            at, check, terminal, outlet, item, round(units * UNIT),
            round(item.cents * units) if cents is None else cents, status,
            served_by=SERVED_BY[terminal][int(check) % 2],
        )
        self.week.lines.append(line)
        return line

    def change_keg(self, tap: Tap, at: int, *, gas: bool) -> int:
        """The keg blows; the next one foams. Returns when the tap pours again."""
        start = max(at, self.free[tap.name])
        for outlet, product, since, until in self.steady:
            if (outlet, product) == (tap.outlet, tap.product) and since <= start <= until:
                raise RanDry(tap.name)
        if gas:
            ounces = self.dice.between(18, 30)
            start = self.flow(tap, start, ounces, speed=8, label="gas").end
        off, on = start + 50, start + self.dice.whole(480, 530)
        self.week.kegs.append(KegRow(off, "Pulled", tap.outlet, tap.product, tap.name))
        self.week.kegs.append(KegRow(on, "Tapped", tap.outlet, tap.product, tap.name))
        self.left[tap.name] = KEG_UL[tap.product]
        self.full[tap.outlet, tap.product] = self.full.get((tap.outlet, tap.product), 0) - 1
        foam = self.flow(tap, on + self.dice.whole(60, 110), self.dice.between(12.2, 13.6))
        self.serve([foam], 0, "keg_change")
        return foam.end + 9 * 60

    def book_unpoured(self, line: Line) -> None:
        """A line that nothing was poured for."""
        for product, ounces in line.item.portions:
            self.book(Serve(line.outlet, product, line.at, "no_pour", oz(ounces), [], (line,)))

    def unmetered(self, tap: Tap, line: Line, ounces: int) -> None:
        """A glass that no meter saw."""
        self.left[tap.name] -= oz(ounces)
        self.book(Serve(tap.outlet, tap.product, line.at, "unmetered", oz(ounces), [], (line,)))

