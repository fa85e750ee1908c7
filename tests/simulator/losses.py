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
    lines = list(venue.lines)
    any_line = [lines[i] for i in rng.permutation(len(lines))]
    single = [line for line in any_line if len(line.faucets) == 1 and not line.becomes]
    steady = [line for line in any_line if not line.becomes]
    early = rng.integers(0, max(1, days // 3), 3)
    start = int(rng.integers(days // 4, max(days // 4 + 1, days // 2)))
    big = sorted(steady, key=lambda line: -BEERS[line.product].weight)
    topped = tuple(line for line in big[:2])
    return LossPlan(
        strength, any_line[0], int(early[0]), single[0], big[0].product,
        _weekday_from(days, start), any_line[2 % len(lines)].outlet, single[1],
        (start, start + max(1, days // 3)), _pair(single), int(early[1]) + 1,
        (big[0].product, "16 oz"), big[min(2, len(big) - 1)], min(days - 1, int(early[2]) + 2),
        topped, sorted(venue.drinks, key=lambda name: -venue.drinks[name])[-1],
    )


def leak_drip_ul(plan: LossPlan) -> float:
    """Volume of one drip."""
    rates = RATES["losses"]["leak"]
    return float(plan.of("leak") * rates["oz_per_hour"] / rates["drips_per_hour"] * OZ)


def _pair(single: list[Line]) -> tuple[Line, Line]:
    """Two lines of one outlet that carry different beers."""
    for first in single:
        for second in single:
            if first.outlet == second.outlet and first.product != second.product:
                return first, second
    raise ValueError("the venue has no two single lines in one outlet")


def _weekday_from(days: int, start: int) -> int:
    return min(days - 1, start + 3)
