"""Which ring units cross the edge after a day, as three days are matched now."""

from __future__ import annotations

from unrung.ledger.material import Material
from unrung.ledger.sealed import EARLY, LATE


def edge_after(before: Material | None, last: Material, after: Material | None) -> dict[int, str]:
    """The units that cross the edge after ``last``, as the three days are matched now."""
    from unrung.matching.match import match_day

    used: set[int] = set()
    for outlet in sorted({*last.prepared, *(after.prepared if after else ())}):
        sides = [
            None if day is None or sealed else day.prepared_for(outlet)
            for day, sealed in ((before, last.handed.start), (after, last.handed.end))
        ]
        found = match_day(sides[0], last.prepared_for(outlet), sides[1])
        used |= {serve.unit_key for serve in found.serves if serve.unit_key is not None}
        used |= {key for key, _ in found.lone_units}
    noon = sum(last.bounds) // 2
    edge = {
        unit.key: LATE for unit in last.rings.units if unit.key not in used and unit.at_ms >= noon
    }
    return edge | {unit.key: EARLY for unit in (after.rings.units if after else ()) if unit.key in used}
