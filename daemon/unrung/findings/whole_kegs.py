"""What whole kegs gave against what they hold, within the window."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from unrung.findings.facts import Facts
from unrung.ledger.cellar import CellarEvent, size_of
from unrung.ledger.counts import keg_tolerance_ul
from unrung.ledger.kegs import Meters, keg_rows
from unrung.ledger.tap_spans import TapSpan, tap_spans
from unrung.settings import Settings

FULL, FEWEST_FULL = 0.7, 4
"""The fuller kegs of a line: those that more than so many give less than; not told of fewer."""
ALIKE = 0.02
"""Full kegs of a line lie this near to each other: twice a keg's tolerance, and the glass that spans two."""
PLAIN_NOTES = {"gave_less", "gave_more"}
"""A keg with any other note does not tell how much it held."""


class WholeKeg(NamedTuple):
    """One keg that went on full and came off while the window lasted."""

    line: str
    outlet: str
    product: str
    keg: str
    on_ms: int
    off_ms: int
    used_ul: int
    metered_ul: int
    within_ul: int
    """The keg's tolerance (OIML R 138:2007, 5.1.3: 0.5 %, at least 0.10 L) and the meter's, where the
    venue names its class."""

    @property
    def ratio(self) -> float:
        """Metered over used, less 1."""
        return self.metered_ul / self.used_ul - 1

    @property
    def tolerance(self) -> float:
        return self.within_ul / self.used_ul

    @property
    def filled_within(self) -> float:
        """The keg's own part of its tolerance."""
        return keg_tolerance_ul(self.used_ul) / self.used_ul


def whole_kegs(facts: Facts, settings: Settings) -> list[WholeKeg]:
    """Every such keg, by line and time."""
    return facts.window.once("whole kegs", lambda: _whole_kegs(facts, settings))


def _whole_kegs(facts: Facts, settings: Settings) -> list[WholeKeg]:
    events = _events(facts, settings)
    if not events:
        return []
    spans: list[TapSpan] = []
    for day in facts.window.days:
        spans += day.once("tap spans", settings, partial(tap_spans, day, settings))
    rows = keg_rows(events, Meters(spans), facts.day.bounds[1], settings)
    return [
        WholeKeg(row.line, row.outlet, row.product, row.keg, row.on_ms, row.off_ms, used,
                 row.metered_ul, row.within_ul)
        for row in rows
        if (used := row.used_ul) and row.on_ms is not None and row.off_ms is not None
        and not set(row.notes) - PLAIN_NOTES and row.kegs == 1
    ]


def _events(facts: Facts, settings: Settings) -> list[CellarEvent]:
    rows = {row.tap: row for row in settings.taps}
    found: list[CellarEvent] = []
    for day in facts.window.days:
        for keg in day.kegs:
            row = rows.get(facts.window.tap_named.get(keg.tap.casefold(), ""))
            if row is not None:
                product = keg.product or row.product
                found.append(CellarEvent(
                    len(found), keg.at_ms, keg.kind, row.outlet, product, row.meter or row.tap, keg.keg,
                    1, keg.size_ul or size_of(settings.products, product, day.day),
                    keg.part_ul or None,
                ))
    return found


def full_factor(kegs: Sequence[WholeKeg]) -> float:
    """What the full kegs of one line gave over what they hold, less 1: its meter's own way of reading. A
    keg filled short says nothing of the meter, so of several kegs those count that agree with its fuller
    ones; of a few, all."""
    if len(kegs) < FEWEST_FULL:
        return combined(kegs)
    fuller = sorted(keg.ratio for keg in kegs)[int(FULL * len(kegs))]
    return combined([keg for keg in kegs if abs(keg.ratio - fuller) <= ALIKE])


def combined(kegs: Sequence[WholeKeg]) -> float:
    """Metered over used of several kegs together, less 1."""
    used = sum(keg.used_ul for keg in kegs)
    return float(Fraction(sum(keg.metered_ul for keg in kegs), used) - 1) if used else 0.0


