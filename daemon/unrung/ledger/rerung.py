"""Lines that were voided and rung again at once: one sale, rung when it was first rung."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from unrung.ledger.rings import Unit
from unrung.ledger.voids import same_sale

AGAIN_MS = 60_000
"""What is rung again on its check this soon after it was voided is a correction (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class Rerung:
    """What was corrected, by keys of ring units."""

    first_ms: dict[int, int] = field(default_factory=dict)
    """Units that were rung again: when they were first rung."""
    replaced: set[int] = field(default_factory=set)
    """The voided units in whose place they stand: no serve answers these."""


def rerung(units: Sequence[Unit]) -> Rerung:
    """Voided units, and the standing ones like them that took their place."""
    found = Rerung()
    alike: dict[tuple[object, ...], list[Unit]] = {
        _likeness(unit): [] for unit in units if unit.voided and unit.voided_ms is not None}
    for unit in units if alike else ():
        if (mine := alike.get(_likeness(unit))) is not None:
            mine.append(unit)
    for rows in alike.values():
        voided = [unit for unit in rows if unit.voided and unit.voided_ms is not None]
        free = [unit for unit in rows if not unit.voided]
        for unit in sorted(voided, key=lambda one: (one.voided_ms, one.at_ms, one.key)):
            again = next((one for one in free if 0 <= one.at_ms - (unit.voided_ms or 0) <= AGAIN_MS), None)
            if again is not None:
                free.remove(again)
                found.first_ms[again.key] = unit.at_ms
                found.replaced.add(unit.key)
    return found


def _likeness(unit: Unit) -> tuple[object, ...]:
    return (unit.outlet, unit.product, unit.portion_ul, *same_sale(unit.line))
