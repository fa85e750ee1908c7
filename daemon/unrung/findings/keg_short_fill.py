"""``keg_short_fill``: one product or delivery short on several meters.

A whole keg that gave less than it holds, beyond the keg's and the meter's tolerance, at a tap whose
glasses are not short: so it is not the meter that reads too little. The same is seen where beer is
lost between keg and meter; both readings are given.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.tap_levels import Tap, tap_levels
from unrung.findings.whole_kegs import FEWEST_FULL, WholeKeg, full_factor, whole_kegs
from unrung.findings.wording import share, sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import moment

LEAST = 0.015
"""Short by less is within what kegs, meters and the glass that spans two kegs leave open."""
MOST = 0.2
"""Short by more is a keg that somebody wrote down at another tap."""
ONE_OF_TEN = 0.1
FEW, ALONE = 2, 0.04
"""Of so few whole kegs a single one is told, short by so much: a meter that works errs by less. Of more
kegs it takes two."""
GLASS_UL = 500_000
"""A glass that spans two kegs belongs to the later one."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool and product."""
    levels = {facts.window.meter_of_tap.get(tap.tap, tap.tap): tap for tap in tap_levels(facts)}
    kegs = whole_kegs(facts, settings)
    groups = facts.window.group_of
    short: dict[tuple[str, str], list[WholeKeg]] = defaultdict(list)
    full = _full_factors(kegs)
    for keg in kegs:
        if _is_short(facts, keg, full.get(keg.line, 0.0), levels.get(keg.line)):
            short[groups.get(keg.outlet, keg.outlet), keg.product].append(keg)
    return [
        _finding(facts, settings, outlet, product, found, kegs, full)
        for (outlet, product), found in sorted(short.items())
        if _worth(found, sum(keg.product == product for keg in kegs))
    ]


def _worth(short: Sequence[WholeKeg], all_kegs: int) -> bool:
    if all_kegs <= FEW:
        return any(keg.ratio < -ALONE for keg in short) or len(short) > 1
    return len(short) >= max(2, ONE_OF_TEN * all_kegs)


def _full_factors(kegs: Sequence[WholeKeg]) -> dict[str, float]:
    """By how much each line's meter reads too much, as its full kegs say; unknown of a few."""
    lines: dict[str, list[WholeKeg]] = defaultdict(list)
    for keg in kegs:
        lines[keg.line].append(keg)
    return {
        line: max(0.0, full_factor(found))
        for line, found in lines.items() if len(found) >= FEWEST_FULL
    }


def _is_short(facts: Facts, keg: WholeKeg, full: float, tap: Tap | None) -> bool:
    bound = max(LEAST, keg.tolerance) + GLASS_UL / keg.used_ul / 3
    short = keg.ratio - full
    if not -MOST <= short < -bound:
        return False
    level = _level(facts, keg, tap)
    return level is None or level > short / 2


def _level(facts: Facts, keg: WholeKeg, tap: Tap | None) -> float | None:
    """How full the tap poured while the keg ran; None where too few glasses tell."""
    if tap is None:
        return None
    for piece in tap.pieces:
        if facts.serves[piece.last].end_ms >= keg.off_ms:
            return piece.level
    return tap.pieces[-1].level if tap.pieces else None


def _finding(
    facts: Facts, settings: Settings, outlet: str, product: str, short: list[WholeKeg],
    kegs: list[WholeKeg], full: Mapping[str, float],
) -> Finding:
    missing = round(sum(keg.used_ul - keg.metered_ul / (1 + full.get(keg.line, 0.0)) for keg in short))
    used = sum(keg.used_ul for keg in short)
    others = sum(keg.product == product for keg in kegs)
    meters = sorted({keg.line for keg in short})
    last = max(keg.off_ms for keg in short)
    evidence = (
        f"{len(short)} of {times(others, 'whole keg', settings)} of {product} gave "
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
