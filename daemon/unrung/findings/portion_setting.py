"""``portion_setting``: matched serves differ from the set portion by a steady amount: the number set
is wrong, or the program, or the glass.

A tap whose items all differ alike is told as one; else each item is held against the middle of its
tap's items. Raised from ``WHOLE`` on over ``FEWEST`` serves, and from less over more serves. A steady
under-pour is a customer's matter and is said as such.
"""

from __future__ import annotations

import math
from collections import defaultdict

from unrung.findings.certainty import confidence, level, ounces
from unrung.findings.facts import Facts
from unrung.findings.fills import FEW, Fill, Steady, fills_of, remaining, second_goes
from unrung.findings.finding import Finding
from unrung.findings.plain import FAR
from unrung.findings.tap_levels import Piece, Tap, middle_of, tap_levels
from unrung.findings.unmet import unmet
from unrung.findings.wording import drink, serve_volume, share, sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import moment

FEWEST = 30
WHOLE = (ounces(0.5), 0.03)
"""Microlitres and share of the portion: common practice, no source."""
EASE = 0.6
"""Of WHOLE is clear over very many serves; in between it falls with the root of their number."""
GROSS = 0.08
"""A tap that other findings say is off by more mixes up its sizes: its items say nothing more."""
TOLD = 0.01
"""A tap's items may differ from their portions by less without a word, where one differs from the others."""
CUSTOMERS = " Guests get less than is set: a customer's matter."

Item = tuple[str, str, str, str, int]
"""Outlet or pool, product, item, size, portion."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap, or per outlet (or pool) and menu item."""
    taps = tap_levels(facts)
    found = [
        made for tap in taps for piece in tap.pieces
        if (made := _whole_tap(facts, settings, tap, piece, len(taps)))
    ]
    told = {one.tap for one in found}
    items: dict[Item, list[tuple[Fill, float]]] = defaultdict(list)
    by_tap: dict[str, list[Fill]] = defaultdict(list)
    for fill in fills_of(facts).values():
        by_tap[fill.cell.tap].append(fill)
    for tap_name, fills in by_tap.items():
        for fill in fills:
            cell = fill.cell
            item = (cell.outlet, cell.product, cell.item, cell.size, cell.portion_ul)
            if tap_name not in told and fill.count >= FEW and not _gross(facts, fill):
                items[item].append((fill, fill.mean - middle_of(fills)))
    for _, cells in sorted(items.items()):
        made = _one_item(facts, settings, cells, len(items))
        found += [made] if made else []
    return found


def _gross(facts: Facts, fill: Fill) -> bool:
    """Whether what other findings explain of a cell is so much that sizes were taken for others."""
    explained = sum(facts.taken.get(key, 0) for key in fill.keys) / fill.count if facts.taken else 0
    return abs(explained) >= GROSS * fill.cell.portion_ul


def stands_clear(difference: float, serves: int, portion_ul: float = 0.0) -> bool:
    """Whether a mean difference (a share of the portion) over so many serves is worth a finding; of a
    single item, whose portion is given, in volume as well."""
    if serves < FEWEST:
        return False
    ease = EASE + (1 - EASE) * math.sqrt(FEWEST / serves)
    ounces_too = portion_ul == 0 or abs(difference) * portion_ul >= WHOLE[0] * ease
    return abs(difference) >= WHOLE[1] * ease and ounces_too


def _whole_tap(
    facts: Facts, settings: Settings, tap: Tap, piece: Piece, places: int
) -> Finding | None:
    clear = stands_clear(piece.level, piece.glasses)
    steady = all(one.level * piece.level > 0 and abs(one.level) >= abs(piece.level) / 2 for one in tap.pieces)
    if not (tap.agrees and clear and steady):
        return None
    chance = piece.steady.chance(piece.level)
    if chance >= level(places):
        return None
    first, last = piece.first, piece.last
    claims = {
        key: round(piece.level * facts.serves[key].portion_ul)
        for key in facts.window.by_tap[tap.tap] if first <= key <= last and facts.serves[key].paired
    }
    start = facts.serves[first].start_ms
    evidence = (
        f"All items at tap {tap.tap} differ from their portions by {share(piece.level, settings)} over "
        f"{times(len(claims), 'serve', settings)} since {moment(start, settings)}: "
        f"{sum_volume(sum(claims.values()), settings)}.{CUSTOMERS if piece.level < 0 else ''}"
    )
    return Finding(
        "portion_setting", tap.outlet, f"Tap {tap.tap} pours {_side(piece.level)} its portions",
        evidence, confidence(chance, places), start, facts.serves[last].end_ms,
        facts.serves[last].product, tap.tap, claims,
    )


def _one_item(
    facts: Facts, settings: Settings, cells: list[tuple[Fill, float]], places: int
) -> Finding | None:
    count = sum(fill.count for fill, _ in cells)
    off = sum(difference * fill.count for fill, difference in cells) / count
    cell = cells[0][0].cell
    if not stands_clear(off, count, cell.portion_ul):
        return None
    by_day: dict[int, list[float]] = defaultdict(list)
    for fill, _ in cells:
        for part in fill.parts:
            by_day[part.day] += part.kept.ratios
    chance = Steady(lambda: [by_day[day] for day in sorted(by_day)]).chance(off)
    if chance >= level(places):
        return None
    taps = [fill.cell.tap for fill, _ in cells]
    claims: dict[int, int] = {}
    goes = {key: go for key, go in second_goes(facts).items() if go not in facts.taken}
    number = 0
    for key in (key for tap in taps for key in facts.window.by_tap[tap]):
        serve, go = facts.serves[key], goes.get(key)
        more = 0 if go is None else facts.serves[go].left_ul
        own = serve.paired and (serve.item, serve.size) == (cell.item, cell.size)
        number += own
        if own and abs(remaining(facts, key) + more - off * cell.portion_ul) <= FAR * cell.portion_ul:
            claims[key] = round(off * cell.portion_ul) - more
            if go is not None:
                claims[go] = more
    alone = unmet(facts, cell, taps, off)
    # A glass that seems to hold something else is one of them too: a part of it stands elsewhere.
    over = round(number * off * cell.portion_ul) + sum(
        facts.serves[key].left_ul - cell.portion_ul for key in alone)
    claims |= {key: facts.serves[key].left_ul for key in alone}
    serves = [facts.serves[key] for key in sorted(claims.keys() - goes.values())]
    mean = sum(fill.mean * fill.count for fill, _ in cells) / count
    name = drink(cell.item, cell.size)
    evidence = (
        f"{times(len(serves), 'serve', settings)} of {name} at tap {' and '.join(taps)} held "
        f"{serve_volume(cell.portion_ul * (1 + mean), settings)} on average against "
        f"{serve_volume(cell.portion_ul, settings)} set{_beside(mean - off, settings)}, since "
        f"{moment(serves[0].start_ms, settings)}: {sum_volume(over, settings)}.{CUSTOMERS if off < 0 else ''}"
    )
    return Finding(
        "portion_setting", cell.outlet, f"{name} {_side(off)} its portion", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms, cell.product,
        taps[0] if len(taps) == 1 else "", claims, frozenset(alone.values()), total_ul=over,
    )


def _beside(usual: float, settings: Settings) -> str:
    """What an item is held against, where that is not its portion."""
    if abs(usual) < TOLD:
        return ""
    return f", while the tap's other items are {share(abs(usual), settings)} {_side(usual)} theirs"


def _side(difference: float) -> str:
    return "over" if difference > 0 else "under"
