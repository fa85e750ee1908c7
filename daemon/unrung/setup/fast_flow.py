"""How fast the taps pour: beer that flows faster than is usual would be taken for gas."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from math import ceil
from statistics import median

from unrung.ledger.pours import GAS_LEAST_MS, lasted_ms
from unrung.records import Pour
from unrung.settings import Matching
from unrung.setup.proposal import Tables
from unrung.units import UNITS_UL

_FEWEST = 20
"""Flows of a tap that tell how fast it pours."""
_LEAST_UL = 80_000
"""Drips and tasters are too short to tell."""
_ABOVE = 1.35
"""How much faster than a tap usually pours beer may flow; gas of a blown keg does so by far (common practice,
no source)."""
_FASTEST = 12.0
"""US fl oz a second; what seems faster is no hand-drawn beer, but times or units that mean something else."""


def note_fast_flow(pours: Sequence[Pour], pulses_per_litre: str, tables: Tables) -> None:
    """Write into ``tables`` up to what flow is beer, where a tap pours nearly as fast as the usual limit."""
    tap, usual = _fastest_tap(pours, float(pulses_per_litre or 0))
    if not Matching().max_flow_per_second < usual * _ABOVE < _FASTEST:
        return
    most = Decimal(ceil(2 * usual * _ABOVE)) / 2
    tables.matching.append(("max_flow_per_second", str(most), "these taps pour fast; in US fl oz"))
    tables.remarks.append(
        f"Tap {tap!r} pours {usual:.1f} US fl oz a second, which is fast. So what flows up to "
        f"{most} a second is taken for beer, and only what is faster for the gas of an empty keg."
    )


def _fastest_tap(pours: Sequence[Pour], pulses_per_litre: float) -> tuple[str, float]:
    """The tap whose flows are fastest, and its median in US fl oz a second; 0 where nothing tells."""
    flows: dict[str, list[float]] = defaultdict(list)
    for pour in pours:
        volume = float(pour.volume_ul or 0)
        if pour.pulses and pulses_per_litre:
            volume = pour.pulses * 1_000_000 / pulses_per_litre
        if volume >= _LEAST_UL and pour.end_ms - pour.start_ms >= GAS_LEAST_MS:
            flows[pour.tap].append(volume / lasted_ms(pour.start_ms, pour.end_ms))
    usual = {tap: median(found) for tap, found in flows.items() if len(found) >= _FEWEST}
    tap = max(usual, key=usual.__getitem__, default="")
    return tap, usual.get(tap, 0.0) * 1000 / float(UNITS_UL["us_fl_oz"])
