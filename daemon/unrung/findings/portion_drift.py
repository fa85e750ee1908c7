"""``portion_drift``: how full one tap pours steps at a cleaning, keg or beer change.

The piece of the window in which the tap pours nearest to its portions is what it should be; a piece
before or after that differs from it clearly is the drift.
"""

from __future__ import annotations

from unrung.findings.certainty import confidence
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.portion_setting import stands_clear
from unrung.findings.tap_levels import Piece, Tap, tap_levels
from unrung.findings.wording import serve_volume, share, sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import moment

CLEANED_MS = 26 * 3_600_000
"""A cleaning so long before the first differing glass may have brought it."""
FEWEST_DAYS = 2
"""Of both pieces, where nothing is known to have come before the step."""
CHANGED_MS = 2 * 3_600_000
"""... and a keg change so long before it."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap and piece of the window that differs."""
    taps = tap_levels(facts)
    found = []
    for tap in taps:
        if len(tap.pieces) < 2:
            continue
        usual = min(tap.pieces, key=lambda piece: abs(piece.level))
        for piece in tap.pieces:
            step = piece.level - usual.level
            alike = piece.alike and usual.alike
            told = (_lasts(facts, piece) and _lasts(facts, usual)) or bool(_came_before(facts, tap, piece))
            if piece is not usual and alike and told and stands_clear(step, piece.glasses):
                found.append(_finding(facts, settings, tap, piece, step, len(taps)))
    return found


def _lasts(facts: Facts, piece: Piece) -> bool:
    """Whether more than the hands of one evening poured it."""
    return piece.steady.days >= FEWEST_DAYS


def _came_before(facts: Facts, tap: Tap, piece: Piece) -> str:
    return _what_came_before(facts, tap.tap, facts.serves[piece.first].start_ms)


def _finding(
    facts: Facts, settings: Settings, tap: Tap, piece: Piece, step: float, places: int
) -> Finding:
    first, last = piece.first, piece.last
    claims = {
        key: round(step * facts.serves[key].portion_ul)
        for key in facts.window.by_tap[tap.tap] if first <= key <= last and facts.serves[key].paired
    }
    serves = [facts.serves[key] for key in claims]
    start = facts.serves[first].start_ms
    direction = "over" if step > 0 else "under"
    pours = sum(claims.values())
    each = serve_volume(abs(pours) / len(serves), settings)
    evidence = (
        f"{times(len(serves), 'serve', settings)} at tap {tap.tap} held {each} "
        f"({share(abs(step), settings)}) "
        f"{'more' if step > 0 else 'less'} than at its other times, since "
        f"{moment(start, settings)}{_what_came_before(facts, tap.tap, start)}: "
        f"{sum_volume(pours, settings)}."
    )
    if step < 0:
        evidence += " Guests get less than is set: a customer's matter."
    steps = [one.chance for one in tap.pieces if one.chance < 1]
    return Finding(
        "portion_drift", tap.outlet, f"Tap {tap.tap} began to pour {direction}", evidence,
        confidence(min(steps, default=1.0), places), start, facts.serves[last].end_ms,
        facts.serves[last].product, tap.tap, claims,
    )


def _what_came_before(facts: Facts, tap: str, at_ms: int) -> str:
    """The cleaning, keg or beer change that the step follows, in words."""
    line = facts.window.meter_of_tap.get(tap, tap)
    for day in facts.window.days:
        for flow in day.flows:
            if flow.kind == "line_beer" and facts.window.meter_of_tap.get(flow.tap, flow.tap) == line:
                if 0 <= at_ms - flow.end_ms <= CLEANED_MS:
                    return ", after its line was cleaned"
        for keg in day.kegs:
            if keg.kind == "on" and facts.window.tap_named.get(keg.tap.casefold()) == tap:
                if 0 <= at_ms - keg.at_ms <= CHANGED_MS:
                    return ", after a keg went on"
    return ""
