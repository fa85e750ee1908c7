"""``keg_short_fill``: one product or delivery short on several meters.

A whole keg that gave less than it holds, beyond the keg's and the meter's tolerance, at a tap whose
glasses are not short: so it is not the meter that reads too little. The same is seen where beer is
lost between keg and meter; both readings are given.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.tap_levels import Tap, tap_levels
from unrung.findings.whole_kegs import WholeKeg, whole_kegs
from unrung.findings.wording import moment, share, sum_volume, times
from unrung.settings import Settings

LEAST = 0.015
"""Short by less is within what kegs, meters and the glass that spans two kegs leave open."""
MOST = 0.2
"""Short by more is a keg that somebody wrote down at another tap."""
FULL, FEWEST_FULL = 0.7, 4
ONE_OF_TEN = 0.1
FEW = 2
"""Of so few whole kegs a single short one is told; of more, it takes two."""
GLASS_UL = 500_000
"""A glass that spans two kegs belongs to the later one."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool and product."""
    levels = {facts.window.meter_of_tap.get(tap.tap, tap.tap): tap for tap in tap_levels(facts)}
    kegs = whole_kegs(facts, settings)
    groups = facts.window.group_of
    short: dict[tuple[str, str], list[WholeKeg]] = defaultdict(list)
    full = _full_ratios(kegs)
    for keg in kegs:
        if _is_short(facts, keg, full.get(keg.line, 0.0), levels.get(keg.line)):
            short[groups.get(keg.outlet, keg.outlet), keg.product].append(keg)
    return [
        _finding(facts, settings, outlet, product, found, kegs)
        for (outlet, product), found in sorted(short.items())
        if _worth(len(found), sum(keg.product == product for keg in kegs))
    ]


def _worth(short: int, all_kegs: int) -> bool:
    return short >= max(2, ONE_OF_TEN * all_kegs) or all_kegs <= FEW


def _full_ratios(kegs: Sequence[WholeKeg]) -> dict[str, float]:
    """What a line's full kegs give over what they hold, less 1: its meter's own way of reading. Of
    several kegs the one that more than half give less than; unknown of a few."""
    ratios: dict[str, list[float]] = defaultdict(list)
    for keg in kegs:
        ratios[keg.line].append(keg.ratio)
    return {
        line: sorted(found)[int(FULL * len(found))]
        for line, found in ratios.items() if len(found) >= FEWEST_FULL
    }


def _is_short(facts: Facts, keg: WholeKeg, full: float, tap: Tap | None) -> bool:
    bound = max(LEAST, keg.tolerance) + GLASS_UL / keg.used_ul / 3
    short = keg.ratio - max(0.0, full)
    if not -MOST <= short < -bound:
        return False
    level = _level(facts, keg, tap)
    return level is None or level > short / 2


def _level(facts: Facts, keg: WholeKeg, tap: Tap | None) -> float | None:
    """How full the tap poured while the keg ran; None where too few glasses tell."""
    if tap is None:
        return None
    for piece in tap.pieces:
        if facts.serves[piece.keys[-1]].end_ms >= keg.off_ms:
            return piece.level
    return tap.pieces[-1].level if tap.pieces else None


def _finding(
    facts: Facts, settings: Settings, outlet: str, product: str, short: list[WholeKeg],
    kegs: list[WholeKeg],
) -> Finding:
    missing = sum(keg.used_ul - keg.metered_ul for keg in short)
    used = sum(keg.used_ul for keg in short)
    others = sum(keg.product == product for keg in kegs)
    meters = sorted({keg.line for keg in short})
    last = max(keg.off_ms for keg in short)
    evidence = (
        f"{len(short)} of {times(others, 'whole keg')} of {product} gave "
        f"{share(missing / used, settings)} less than they hold since "
        f"{moment(min(keg.on_ms for keg in short), settings)}, at meter "
        f"{' and '.join(meters)}, whose glasses are not short: {sum_volume(missing, settings)}. Filled "
        "short, or lost before the meter; the two look alike."
    )
    return Finding(
        "keg_short_fill", outlet, f"Kegs of {product} short", evidence,
        "medium" if len(short) > 1 else "low", min(keg.on_ms for keg in short), last, product,
        standing=last >= facts.day.bounds[0], total_ul=missing,
    )
