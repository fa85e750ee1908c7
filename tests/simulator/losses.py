"""The switches: which losses are on, how strong, and where in the month they sit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from simulator.rates import OZ, RATES, stream
from simulator.venues import BEERS, Line, VenuePlan

LOSSES = (
    "leak", "meter_calibration", "keg_short_fill", "feed_gap", "clock_offset", "tap_list",
    "portion_setting", "portion_drift", "top_ups", "keg_change_loss", "unlogged_cleaning",
    "samples", "wrong_size", "mis_ring", "serves_without_ring",
)
"""Every switch, by the name of the finding that it should raise."""
UNRUNG_CAUSES = (
    "leak", "tap_list", "keg_change_loss", "unlogged_cleaning", "samples", "mis_ring",
    "serves_without_ring",
)
"""Those that show as poured-not-rung; the others show as a difference, or not in volume at all."""


@dataclass(frozen=True, slots=True)
class LossPlan:
    """Strengths by name (absent: 0), and the places drawn for them."""

    strength: Mapping[str, float]
    leak: Line
    leak_day: int
    calibrated: Line
    short_product: str
    gap_day: int
    gap_outlet: str
    gap_line: Line
    offset_days: tuple[int, int]
    swapped: tuple[Line, Line]
    swap_day: int
    item: tuple[str, str]
    """The (product, size) always poured over its set portion."""
    drift: Line
    drift_day: int
    topped: tuple[Line, ...]
    cluster_outlet: str

    def of(self, name: str) -> float:
        return self.strength.get(name, 0.0)

    def swapped_line(self, line: Line, at_ms: int, swap: tuple[int, int]) -> Line:
        """The line that in truth carries what ``line`` is listed to carry."""
        first, second = self.swapped
        if not swap[0] <= at_ms < swap[1] or line not in self.swapped:
            return line
        return second if line is first else first


def strengths(losses: Mapping[str, float] | str) -> dict[str, float]:
    """"all" (each at 1), "none", or a mapping of names to strengths, checked."""
    if losses == "none":
        return {}
    if losses == "all":
        return dict.fromkeys(LOSSES, 1.0)
    if isinstance(losses, str):
        raise ValueError(f"losses {losses!r}: write 'all', 'none' or a mapping of names")
    unknown = sorted(set(losses) - set(LOSSES))
    if unknown:
        raise ValueError(f"unknown losses {unknown}; known are {', '.join(LOSSES)}")
    return {name: float(strength) for name, strength in losses.items() if strength > 0}


def plan_losses(seed: int, days: int, venue: VenuePlan, strength: Mapping[str, float]) -> LossPlan:
    """Draw where each loss sits. The draws do not depend on what is switched on."""
    rng = stream(seed, "losses")
    lines = [venue.lines[i] for i in rng.permutation(len(venue.lines))]
    steady = [line for line in lines if not line.becomes]
    single = [line for line in steady if len(line.faucets) == 1]
    pints = [line for line in steady if "16 oz" in BEERS[line.product].sizes]
    early = rng.integers(0, max(1, days // 3), 4).tolist()
    start = int(rng.integers(days // 4, max(days // 4 + 1, days // 2)))
    last = days - 1
    return LossPlan(
        strength, leak=lines[0], leak_day=early[0], calibrated=single[0],
        short_product=_often(steady).product, gap_day=min(last, start + 3), gap_outlet=lines[2].outlet,
        gap_line=single[1], offset_days=(start, start + max(1, days // 3)), swapped=_pair(single),
        swap_day=min(last, early[1] + 1), item=(pints[0].product, "16 oz"), drift=steady[0],
        drift_day=min(last, early[2] + 2), topped=tuple(steady[1:3]),
        cluster_outlet=lines[1].outlet,
    )


def leak_drip_ul(plan: LossPlan) -> float:
    """Volume of one drip."""
    rates = RATES["losses"]["leak"]
    return float(plan.of("leak") * rates["oz_per_hour"] / rates["drips_per_hour"] * OZ)


def _often(lines: list[Line]) -> Line:
    """A line whose beer sells well enough to need several kegs a month."""
    return next(line for line in lines if BEERS[line.product].weight >= 0.1)


def _pair(single: list[Line]) -> tuple[Line, Line]:
    """Two lines of one outlet that carry different beers."""
    for first in single:
        for second in single:
            if first.outlet == second.outlet and first.product != second.product:
                return first, second
    raise ValueError("the venue has no two single lines in one outlet")
