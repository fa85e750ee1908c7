"""``meter_calibration``: every product on one meter is off by a steady factor over whole kegs.

Two scales must agree: glasses differ from their portions by a share, and whole kegs give that share
more or less than they hold, beyond the keg's own tolerance. Where kegs give what they
hold, the beer was really poured, and it is no meter. Where no whole keg has run yet, meter and pouring
cannot be told apart: both readings are given, and confidence is low.
"""

from __future__ import annotations

from collections import defaultdict

from unrung.findings.certainty import level
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.portion_setting import stands_clear
from unrung.findings.tap_levels import Piece, Tap, tap_levels
from unrung.findings.whole_kegs import WholeKeg, full_factor, whole_kegs
from unrung.findings.wording import share, sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import moment

LEAST = 0.015
"""A smaller factor is any meter's (many bar meters have no class)."""
AGREE = 0.4
"""Glasses bear out what kegs say where they are off the same way by at least as much, less this share.
What they are off beyond it was poured so."""
EDGE_MS = 6 * 3_600_000


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap and piece of the window."""
    kegs: dict[str, list[WholeKeg]] = defaultdict(list)
    for keg in whole_kegs(facts, settings):
        kegs[keg.line].append(keg)
    taps = tap_levels(facts)
    found = []
    for tap in taps:
        line = facts.window.meter_of_tap.get(tap.tap, tap.tap)
        for piece in tap.pieces:
            ran = [keg for keg in kegs[line] if _during(facts, keg, piece)]
            made = _judge(facts, settings, tap, piece, ran, len(taps))
            found += [made] if made else []
    return found


def _during(facts: Facts, keg: WholeKeg, piece: Piece) -> bool:
    """Whether a keg ran within a piece of the window."""
    first, last = facts.serves[piece.first].start_ms, facts.serves[piece.last].end_ms
    return first - EDGE_MS <= keg.on_ms and keg.off_ms <= last + EDGE_MS


def _judge(
    facts: Facts, settings: Settings, tap: Tap, piece: Piece, kegs: list[WholeKeg], places: int
) -> Finding | None:
    if abs(piece.level) < LEAST or piece.steady.chance(piece.level) >= level(places):
        return None
    if not kegs:
        return _either(facts, settings, tap, piece)
    factor = full_factor(kegs)
    beyond = abs(factor) > max(LEAST, kegs[0].filled_within)
    alike = factor * piece.level > 0 and abs(piece.level) >= (1 - AGREE) * abs(factor)
    return _finding(facts, settings, tap, piece, kegs, factor) if beyond and alike else None


def _claims(facts: Facts, tap: str, piece: Piece, factor: float) -> dict[int, int]:
    """The factor's part of every paired serve of the tap in a piece of the window."""
    return {
        key: round(factor * facts.serves[key].portion_ul)
        for key in facts.window.by_tap[tap]
        if piece.first <= key <= piece.last and facts.serves[key].paired
    }


def _finding(
    facts: Facts, settings: Settings, tap: Tap, piece: Piece, kegs: list[WholeKeg], factor: float
) -> Finding:
    first, last = facts.serves[piece.first], facts.serves[piece.last]
    near = abs(piece.level - factor) <= AGREE * abs(factor)
    claims = _claims(facts, tap.tap, piece, (piece.level + factor) / 2 if near else factor)
    reads = "more" if piece.level > 0 else "less"
    evidence = (
        f"The meter of tap {tap.tap} reads {share(abs(factor), settings)} {reads} than "
        f"{times(len(kegs), 'whole keg', settings)} held, and its glasses differ from their portions by "
        f"{share(piece.level, settings)}, since "
        f"{moment(first.start_ms, settings)}: {sum_volume(sum(claims.values()), settings)} that never "
        "flowed." if piece.level > 0 else
        f"The meter of tap {tap.tap} reads {share(abs(factor), settings)} {reads} than "
        f"{times(len(kegs), 'whole keg', settings)} held, and its glasses seem short by "
        f"{share(abs(piece.level), settings)}, since "
        f"{moment(first.start_ms, settings)}: {sum_volume(-sum(claims.values()), settings)} that it missed."
    )
    return Finding(
        "meter_calibration", tap.outlet, f"Meter of tap {tap.tap} reads {reads}", evidence,
        "high", first.start_ms, last.end_ms, last.product, tap.tap, claims,
    )


def _either(facts: Facts, settings: Settings, tap: Tap, piece: Piece) -> Finding | None:
    """No whole keg yet: the tap's every item is off alike, from the window's start on."""
    steady = piece is tap.pieces[0] and tap.agrees
    if not steady or not stands_clear(piece.level, piece.glasses):
        return None
    first, last = facts.serves[piece.first], facts.serves[piece.last]
    claims = _claims(facts, tap.tap, piece, piece.level)
    evidence = (
        f"Every item at tap {tap.tap} differs from its portion by {share(piece.level, settings)} alike since "
        f"{moment(first.start_ms, settings)}: {sum_volume(sum(claims.values()), settings)}. Until a whole "
        "keg has run, a meter that reads wrong and glasses poured so cannot be told apart."
    )
    return Finding(
        "meter_calibration", tap.outlet, f"Tap {tap.tap}: meter or portions off",
        evidence, "low", first.start_ms, last.end_ms, last.product, tap.tap, claims,
    )
