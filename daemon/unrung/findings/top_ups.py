"""``top_ups``: short pours followed by a second small one on the same tap within seconds, so often
that the glasses end over their portion.

A tap is judged against the venue's other taps: the share of its glasses that are topped up, and how
much fuller those end than the tap's other glasses.
"""

from __future__ import annotations

from collections import defaultdict
from statistics import fmean, median
from typing import NamedTuple

from unrung.findings.certainty import confidence, level
from unrung.findings.facts import Facts
from unrung.findings.fills import FAR, Cell, cell_of, fills_of, remaining, topped_up
from unrung.findings.finding import Finding
from unrung.findings.statistics import above_zero, binomial_tail
from unrung.findings.wording import figure, serve_volume, share, sum_volume
from unrung.ledger.facts import DayFacts
from unrung.settings import Settings
from unrung.venue_time import moment

CUT = 0.3
"""A glass that differs by more is another size: it may hold the second go at the glass beside it."""
FEWEST = 20
USUAL = 0.12
"""Share of glasses topped up that no tap is asked about (common practice, no source)."""
LEAST_OVER = 0.02
"""Topped-up glasses that end less than this share fuller than others are no loss."""


class Topped(NamedTuple):
    """A glass in several goes: its serve, pieces that were not joined to it, what it came to."""

    key: int
    pieces: tuple[int, ...]
    over: float
    """Share of its portion that it ends fuller than the plain glasses of its item at its tap."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap."""
    topped, plain = _glasses(facts)
    shares = {
        tap: len(topped.get(tap, ())) / (len(topped.get(tap, ())) + len(ratios))
        for tap, ratios in plain.items() if len(ratios) >= FEWEST
    }
    usual = max(USUAL, median(shares.values())) if shares else 1.0
    made = (
        _judge(facts, settings, tap, topped.get(tap, []), plain[tap], usual, len(shares))
        for tap in sorted(shares)
    )
    return [finding for finding in made if finding]


def _glasses(facts: Facts) -> tuple[dict[str, list[Topped]], dict[str, list[float]]]:
    """Each tap's paired serves: those in several goes, and metered over set less 1 of the plain ones."""
    topped: dict[str, list[Topped]] = defaultdict(list)
    plain: dict[str, list[float]] = defaultdict(list)
    goes: dict[int, list[int]] = defaultdict(list)
    for piece, key in facts.window.pieces.items():
        if piece not in facts.taken:
            goes[key].append(piece)
    others = goes.keys() | facts.taken.keys()
    usual_of, filled = dict[Cell, float](), set[int]()
    for cell, fill in fills_of(facts).items():
        plain[cell.tap] += [
            ratio for key, ratio in zip(fill.keys, fill.ratios, strict=True) if key not in others
        ]
        filled.update(others.intersection(fill.keys))
        usual_of[cell] = fill.mean
    # A full glass that was topped up may be nearer another size: it is looked at all the same.
    for key in [*facts.window.keys_of("topped up", _topped_up), *others]:
        serve, own = facts.serves[key], goes.get(key, ())
        if not serve.paired:
            continue
        more = sum(facts.serves[piece].left_ul for piece in own)
        ratio = (serve.difference_ul + more - facts.taken.get(key, 0)) / serve.portion_ul
        if not own and not topped_up(serve):
            plain[serve.tap] += [ratio] if key in filled else []
        elif abs(over := ratio - usual_of.get(cell_of(serve), 0.0)) <= FAR:
            topped[serve.tap].append(Topped(key, tuple(own), over))
    return {tap: sorted(set(glasses)) for tap, glasses in topped.items()}, plain


def _topped_up(day: DayFacts) -> list[int]:
    return [number for number, serve in enumerate(day.serves) if serve.paired and topped_up(serve)]


def _judge(
    facts: Facts, settings: Settings, tap: str, topped: list[Topped], plain: list[float],
    usual: float, places: int,
) -> Finding | None:
    if len(topped) < FEWEST:
        return None
    glasses = len(topped) + len(plain)
    chance = binomial_tail(len(topped), glasses, usual)
    usual_fill = fmean(plain)
    over = [glass.over for glass in topped]
    if chance >= level(places) or not above_zero(over, level(places)) or fmean(over) < LEAST_OVER:
        return None
    claims = _claims(facts, topped, over) | _other_goes(facts, tap, usual_fill)
    serves = [facts.serves[glass.key] for glass in topped]
    volume = _in_all(facts, tap) or sum(claims.values())
    evidence = (
        f"{figure(len(topped), 0, settings)} of {figure(glasses, 0, settings)} glasses at tap {tap} were "
        "topped up by a second small pour "
        f"since {moment(serves[0].start_ms, settings)} ({share(len(topped) / glasses, settings)}, elsewhere "
        f"{share(usual, settings)}), and end {serve_volume(volume / len(topped), settings)} fuller than its "
        f"other glasses: {sum_volume(volume, settings)}."
    )
    return Finding(
        "top_ups", serves[0].outlet, f"Tap {tap}: glasses topped up", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms, serves[0].product, tap,
        claims, total_ul=volume,
    )


def _in_all(facts: Facts, tap: str) -> int:
    """What all glasses of the tap hold beyond the middle of their plain ones, second goes that stayed alone
    among them: a second go that was joined to the glass beside its own makes one of them as much too
    full as the other too short. A glass in one go that is nearer another size is one of that size. 0 where
    that is nothing."""
    usual = {cell: median(fill.ratios) for cell, fill in fills_of(facts).items() if cell.tap == tap}
    beyond = 0.0
    for key in facts.window.by_tap[tap]:
        serve = facts.serves[key]
        if serve.paired:
            own = remaining(facts, key) - usual.get(cell_of(serve), 0.0) * serve.portion_ul
            if serve.other_size and len(serve.parts) == 1 and own > 0:
                continue
            beyond += own if abs(own) <= CUT * serve.portion_ul else 0
        elif key in facts.window.pieces and key not in facts.taken:
            beyond += serve.left_ul
    return max(0, round(beyond))


def _other_goes(facts: Facts, tap: str, usual_fill: float) -> dict[int, int]:
    """What the tap's glasses in several large goes, such as pitchers, came to beyond its others."""
    found = {}
    for key in facts.window.by_tap[tap]:
        serve = facts.serves[key]
        if serve.paired and len(serve.parts) > 1 and not topped_up(serve) and not serve.other_size:
            beyond = serve.difference_ul - facts.taken.get(key, 0) - usual_fill * serve.portion_ul
            if abs(beyond) <= FAR * serve.portion_ul:
                found[key] = round(beyond)
    return found


def _claims(facts: Facts, topped: list[Topped], over: list[float]) -> dict[int, int]:
    """What each glass came to beyond the tap's other glasses: its pieces whole, its serve the rest."""
    claims: dict[int, int] = {}
    for glass, extra in zip(topped, over, strict=True):
        pieces = {piece: facts.serves[piece].left_ul for piece in glass.pieces}
        beyond = round(extra * facts.serves[glass.key].portion_ul)
        claims |= pieces
        claims[glass.key] = claims.get(glass.key, 0) + beyond - sum(pieces.values())
    return claims
