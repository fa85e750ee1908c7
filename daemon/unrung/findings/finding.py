"""A finding as it is made, with what it explains, and the rows that become of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from unrung.findings.advice import ADVICE
from unrung.findings.facts import Facts
from unrung.ledger.results import Confidence, FindingRow


@dataclass(frozen=True, slots=True)
class Finding:
    """A cause at one place, over the whole window."""

    finding: str
    outlet: str
    """Outlet or pool; empty where it is the venue's."""
    headline: str
    """A few words: what, and where."""
    evidence: str
    """The numbers that a practitioner would quote."""
    confidence: Confidence
    first_ms: int
    last_ms: int
    product: str = ""
    tap: str = ""
    serves: Mapping[int, int] = field(default_factory=dict)
    """Serve to the microlitres of it that this explains: all that is left of a lone one, a signed
    part of a paired one's difference."""
    rings: frozenset[int] = frozenset()
    """Lone rings that this explains."""
    standing: bool = False
    """It holds on the last day even where it explains nothing of that day's variance."""
    total_ul: int | None = None
    """What it cost since it began, where that is not the sum of what it explains."""


def rows_of(found: Finding, facts: Facts) -> list[FindingRow]:
    """The last day's rows: one per outlet and product it explains something of; a standing finding
    has at least one. None where it was over before that day."""
    today = _today(found, facts)
    places = sorted(today)
    if not places and found.standing:
        places = [(found.outlet, found.product)]
    total = found.total_ul
    if total is None:
        total = sum(found.serves.values()) - sum(facts.rings[key].portion_ul for key in found.rings)
    return [_row(found, place, today.get(place, 0), total) for place in places]


def _row(found: Finding, place: tuple[str, str], volume_ul: int, total: int) -> FindingRow:
    advice = ADVICE[found.finding]
    return FindingRow(
        found.finding, *place, found.tap, volume_ul, found.confidence, found.evidence,
        advice.check_first, advice.caution, advice.minutes, found.first_ms, found.last_ms, total,
        found.headline,
    )


def _today(found: Finding, facts: Facts) -> dict[tuple[str, str], int]:
    """Explained on the last day, per outlet and product."""
    today: dict[tuple[str, str], int] = defaultdict(int)
    serves, rings = facts.window.today
    for key in [key for key in found.serves if key >= serves.start]:
        today[facts.serves[key][:2]] += found.serves[key]
    for key in [key for key in found.rings if key >= rings.start]:
        today[facts.rings[key][:2]] -= facts.rings[key].portion_ul
    return today
