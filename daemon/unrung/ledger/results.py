"""One day's ledger as plain records: what ``ledger.day`` makes and ``issue`` prints.

Every volume is whole microlitres. ``poured``, ``rung``, ``portion_difference`` and ``variance`` are
derived from the components, so the identity cannot fail to hold:

    poured   = matched_portion + portion_difference + logged + poured_not_rung
               + poured_not_compared + not_beer
    rung     = matched_portion + rung_not_poured + rung_not_compared
    portion_difference = over_portion - under_portion + size_difference
    variance = portion_difference + poured_not_rung - rung_not_poured
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal, NamedTuple

from unrung.ledger.clocks import ClockNote
from unrung.ledger.facts import DayFacts

COMPONENTS = (
    "matched_portion", "over_portion", "under_portion", "size_difference", "logged",
    "poured_not_rung", "voided_after_pour", "rung_not_poured", "poured_not_compared",
    "rung_not_compared", "not_beer", "comp_volume",
)
"""The leaves that are counted and rounded; ``voided_after_pour`` is part of ``poured_not_rung``
and ``comp_volume`` part of ``rung``, both shown apart."""


@dataclass(slots=True)
class Volumes:
    """The components of the identity, in whole microlitres."""

    matched_portion: int = 0
    over_portion: int = 0
    under_portion: int = 0
    size_difference: int = 0
    logged: int = 0
    poured_not_rung: int = 0
    voided_after_pour: int = 0
    rung_not_poured: int = 0
    poured_not_compared: int = 0
    rung_not_compared: int = 0
    not_beer: int = 0
    comp_volume: int = 0

    @property
    def portion_difference(self) -> int:
        return self.over_portion - self.under_portion + self.size_difference

    @property
    def poured(self) -> int:
        return (
            self.matched_portion + self.portion_difference + self.logged + self.poured_not_rung
            + self.poured_not_compared + self.not_beer
        )

    @property
    def rung(self) -> int:
        return self.matched_portion + self.rung_not_poured + self.rung_not_compared

    @property
    def variance(self) -> int:
        return self.portion_difference + self.poured_not_rung - self.rung_not_poured

    def add(self, other: Volumes) -> None:
        self.matched_portion += other.matched_portion
        self.over_portion += other.over_portion
        self.under_portion += other.under_portion
        self.size_difference += other.size_difference
        self.logged += other.logged
        self.poured_not_rung += other.poured_not_rung
        self.voided_after_pour += other.voided_after_pour
        self.rung_not_poured += other.rung_not_poured
        self.poured_not_compared += other.poured_not_compared
        self.rung_not_compared += other.rung_not_compared
        self.not_beer += other.not_beer
        self.comp_volume += other.comp_volume


@dataclass(slots=True)
class Counts:
    """What is counted beside the volumes, per window, outlet and product."""

    serves: int = 0
    """Serves whose pour ended here, paired or not."""
    units_rung_micro: int = 0
    """Ring units in millionths; a unit of several portions counts in equal shares."""
    comp_units_micro: int = 0
    net_sales_minor: int = 0


@dataclass(slots=True)
class Leaf:
    """One window of one outlet (or pool) and product."""

    window_start_ms: int
    window_minutes: int
    outlet: str
    product: str
    volumes: Volumes = field(default_factory=Volumes)
    counts: Counts = field(default_factory=Counts)


@dataclass(slots=True)
class ProductDay:
    """One outlet (or pool) and product on one business day: what the leaves do not hold."""

    outlet: str
    product: str
    poured_not_rung_low: int = 0
    poured_not_rung_high: int = 0
    cost_minor_per_litre: float | None = None
    """Cost of a litre in minor units; None where no dated cost is known."""
    retail_minor_per_litre: float | None = None
    """Net price realised that day per litre rung, else the menu price."""


@dataclass(frozen=True, slots=True)
class Lone:
    """A pour (or what is left of it), a ring unit, or a log entry without a partner."""

    kind: Literal["pour", "ring", "log"]
    outlet: str
    product: str
    tap: str
    at_ms: int
    volume_ul: int
    uncertain: bool
    source_feed: str
    source_file: str
    source_line: int
    source_id: str
    finding: str = ""


@dataclass(frozen=True, slots=True)
class LoggedRow:
    """What one outlet wrote down for one product and reason, and what of it the pours bear out."""

    outlet: str
    product: str
    reason: str
    entries: int
    said_ul: int
    explained_ul: int
    without_pour_ul: int


@dataclass(frozen=True, slots=True)
class TillRow:
    """Ties the ledger to the till's own day total, in millionths of a unit, per outlet:

    units_rung = till_units - voids - training - not_draught - unknown_item + carried_in
                 - carried_out        (``comps`` is shown, and is part of units_rung)
    """

    outlet: str
    till_units: int = 0
    voids: int = 0
    comps: int = 0
    training: int = 0
    carried_in: int = 0
    carried_out: int = 0
    not_draught: int = 0
    unknown_item: int = 0
    units_rung: int = 0


DayStatus = Literal["final", "provisional", "incomplete"]


class ServedWhileCleaned(NamedTuple):
    """A ring that only a flow in a line's cleaning can have filled: cleaner may have reached a glass."""

    outlet: str
    product: str
    tap: str
    poured_ms: int
    rung_ms: int
    """Corrected to the meters' clock."""
    volume_ul: int


Confidence = Literal["high", "medium", "low"]
"""How sure a finding is: ``high``, noise alone would show as much less than once in a million
venue-months; ``medium``, less than once in a venue-month; ``low``, the figures are as clear as
that, and a second reading explains them as well."""


@dataclass(frozen=True, slots=True)
class FindingRow:
    """A cause that the data shows, at one outlet (or pool) and product, where it has one."""

    finding: str
    outlet: str
    product: str
    tap: str
    volume_ul: int
    """Of this day's variance, what it explains; signed as the variance is. The findings of a
    product and day never explain the same microlitre twice."""
    confidence: Confidence
    evidence: str
    check_first: str
    caution: str = ""
    minutes: int = 10
    """To check it."""
    first_ms: int = 0
    last_ms: int = 0
    total_ul: int = 0
    """What the whole finding cost since it began, within the days that were looked at; the same in
    each of its rows."""
    headline: str = ""
    """A few words for a mail: what, and where."""


Verdict = Literal["closed", "smaller", "no_help", "too_early", "nothing_found"]
"""What became of a finding after a fix: gone; less, not gone; as before; not to be said yet; or no
finding stood there before it."""


@dataclass(frozen=True, slots=True)
class FixNote:
    """What a fix that somebody wrote down (``fixes.csv``) did, as of one day."""

    day: date
    """Of the fix."""
    what: str
    tap: str
    product: str
    finding: str
    """The finding that it is held against; empty where none stood there."""
    verdict: Verdict
    sentence: str
    """The whole of it in words, figures included."""
    news: bool = False
    """Whether no mail told it yet; known where the mail is written, and in no file."""


@dataclass(frozen=True, slots=True)
class DayLedger:
    """Everything that the day's files, mail and alerts are made of. No clock, no generation time."""

    day: date
    leaves: tuple[Leaf, ...]
    """Sorted by window, outlet, product."""
    products: tuple[ProductDay, ...]
    """Sorted by outlet, product; every (outlet, product) of the leaves, and listed ones at rest."""
    lone: tuple[Lone, ...]
    logged: tuple[LoggedRow, ...]
    till: tuple[TillRow, ...]
    clocks: tuple[ClockNote, ...] = ()
    status: DayStatus = "final"
    missing: tuple[str, ...] = ()
    """Feeds that do not cover the day, as sentences: "no sales from 'till' for Fri, Oct 30"."""
    notices: tuple[str, ...] = ()
    """Things the manager should know: unlisted items, unknown taps, shifted times."""
    urgent: tuple[str, ...] = ()
    """Those of the notices that cannot wait and stand first wherever the day is told."""
    served_while_cleaned: tuple[ServedWhileCleaned, ...] = ()
    doubtful_sources: tuple[int, ...] = ()
    """Exports whose times cannot be right; see ``ledger.changed``."""
    rings_covered_ms: int = 0
    """How much of the day the ring feeds cover, in milliseconds."""
    pours_covered_ms: int = 0
    facts: DayFacts | None = None
    """Serve by serve, for the findings."""
    findings: tuple[FindingRow, ...] = ()
    """What explains the day's variance, in the order in which it is to be looked at."""
    fixes: tuple[FixNote, ...] = ()
    """What the fixes of the last four weeks did, the newest first."""
    outline: str = ""
    """What lies nearest the day's edges, as ``ledger.outline`` writes it; empty where nobody made it."""
    seen: str = ""
    """What it saw of its neighbours, where neither reaches into it: as long as it sees the same, it is the
    same."""
