"""What one day showed, serve by serve: what findings are drawn from, over several days.

Plain tuples of numbers and texts, so that a day's facts can be kept and read back as they were.
Times are UTC milliseconds by the meters' clock; volumes whole microlitres.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from functools import partial
from typing import Any, NamedTuple, TypeVar

from unrung.ledger.tuples import made

Made = TypeVar("Made")
Columns = list[Sequence[Any]]
"""Serves by the fields of ``ServeFact``, in their order."""


class ServeFact(NamedTuple):
    """One serve, and what became of it."""

    outlet: str
    """Outlet or pool."""
    product: str
    tap: str
    start_ms: int
    end_ms: int
    volume_ul: int
    parts: tuple[tuple[int, int, int], ...]
    """(start, end, volume in this serve) of its pours, in order of time."""
    portion_ul: int = 0
    """Set portion of its ring; 0 where it has none."""
    item: str = ""
    size: str = ""
    ring_ms: int = 0
    """When it was rung, corrected to the meters' clock; 0 where it was not."""
    voided: bool = False
    """Its ring was voided after the pour."""
    comp: bool = False
    uncertain: bool = False
    other_size: bool = False
    """Nearer another menu size than the size rung: its difference is ``size_difference``."""
    left_ul: int = 0
    """What of it is poured-not-rung: no ring, no log entry, no keg change explains it."""
    not_compared_ul: int = 0
    """What of it could not be compared; never loss."""
    reason: str = ""
    """Why it was written down (a log reason, or ``keg_change``), where it was."""

    @property
    def paired(self) -> bool:
        return self.portion_ul > 0 and not self.voided

    @property
    def difference_ul(self) -> int:
        """Metered less set, of a paired serve; 0 of any other."""
        return self.volume_ul - self.portion_ul if self.paired else 0


class RingFact(NamedTuple):
    """One ring unit without a serve."""

    outlet: str
    product: str
    item: str
    size: str
    portion_ul: int
    at_ms: int
    """Corrected to the meters' clock."""
    place: str
    """The outlet itself, where the venue pools several."""
    line_ms: int
    """As the till's clock has it."""
    source_line: int
    counted: bool
    """Whether it is ``rung_not_poured``; else it could not be compared."""


class KegFact(NamedTuple):
    """A keg coupled or taken off."""

    at_ms: int
    kind: str
    tap: str
    product: str
    keg: str
    size_ul: int
    part_ul: int
    """Beer left in a keg taken off, or in a part-used one going on; 0 where nobody says."""


class FlowFact(NamedTuple):
    """Metered volume that is no serve."""

    tap: str
    product: str
    start_ms: int
    end_ms: int
    volume_ul: int
    kind: str
    """gas, or cleaning (the line's beer, then water and cleaner)."""


class LogFact(NamedTuple):
    """A log entry or keg change, and what of the pours it explained."""

    reason: str
    at_ms: int
    """0 where only a day was written."""
    end_ms: int
    tap: str
    product: str
    outlet: str
    said_ul: int
    explained_ul: int


class ClockFact(NamedTuple):
    """What the day taught about the clocks of one outlet or pool."""

    outlet: str
    offset_ms: int
    pairs: int
    jump_at_ms: int
    """By the till's clock; 0 where it did not jump."""
    jump_ms: int
    doubt_ms: int = 0
    """By how much chance may have moved the offset; 0 where it was kept before that was told."""

    def corrected(self, at_ms: int) -> int:
        """A till time by the meters' clock, less the usual lag."""
        jumped = self.jump_at_ms and at_ms >= self.jump_at_ms
        return at_ms - self.offset_ms - (self.jump_ms if jumped else 0)


class SilenceFact(NamedTuple):
    """A span that one side's feed does not cover though the other side was busy."""

    side: str
    """rings or pours."""
    outlet: str
    product: str
    """Both empty where the whole side fell silent."""
    from_ms: int
    to_ms: int


class TillFact(NamedTuple):
    """When a terminal rang anything at all, burgers too."""

    outlet: str
    """The outlet itself, where the venue pools several."""
    terminal: str
    at_s: tuple[int, ...]
    """Seconds since the day's start, corrected to the meters' clock."""


@dataclass(frozen=True, slots=True)
class DayFacts:
    """One business day."""

    day: date
    bounds: tuple[int, int]
    serves: tuple[ServeFact, ...] = ()
    """By the end of the pour."""
    rings: tuple[RingFact, ...] = ()
    flows: tuple[FlowFact, ...] = ()
    kegs: tuple[KegFact, ...] = ()
    logs: tuple[LogFact, ...] = ()
    clocks: tuple[ClockFact, ...] = ()
    silences: tuple[SilenceFact, ...] = ()
    till: tuple[TillFact, ...] = ()
    missing: tuple[str, ...] = ()
    """Feeds that do not cover the day, as sentences."""
    _made: dict[str, tuple[object, Any]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def __reduce__(self) -> tuple[Any, ...]:
        """Its serves as columns, since a process that hands days to another would spend more time on
        packing them one by one than on many a step of making them. Of what was made of it, bytes go along:
        they are made to be handed on."""
        names = [one.name for one in fields(self) if one.init and one.name != "serves"]
        rest = {name: getattr(self, name) for name in names}
        made = {name: one for name, (_, one) in self._made.items() if isinstance(one, bytes)}
        return _unpacked, (columns_of(self.serves), rest, made)

    def columns(self) -> Columns:
        """Its serves field by field."""
        return self.once("columns", None, partial(columns_of, self.serves))

    def known(self, name: str) -> Any:
        """What ``once`` made under ``name``; None where it made nothing."""
        return self._made.get(name, (None, None))[1]

    def once(self, name: str, given: object, make: Callable[[], Made]) -> Made:
        """What ``make`` makes of this day, and of ``given`` (the settings, or None), made once: a day
        is looked at again on each of the 27 days that follow it."""
        known = self._made.get(name)
        if known is None or known[0] is not given:
            known = self._made[name] = (given, make())
        made: Made = known[1]
        return made


def columns_of(serves: Sequence[tuple[Any, ...]]) -> Columns:
    """``serves``, facts or plain tuples of their fields, field by field."""
    return list(zip(*serves, strict=True)) or [()] * len(ServeFact._fields)


def of_columns(columns: Columns, **rest: Any) -> DayFacts:
    """A day's facts; ``rest``: its fields but for the serves."""
    facts = _unpacked(columns, rest)
    facts.once("columns", None, lambda: columns)
    return facts


def _unpacked(columns: Columns, rest: dict[str, Any], known: Mapping[str, bytes] | None = None) -> DayFacts:
    facts = DayFacts(serves=tuple(made(ServeFact, zip(*columns, strict=True))), **rest)
    for name, one in (known or {}).items():
        facts.once(name, None, partial(bytes, one))
    return facts
