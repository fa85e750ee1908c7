"""``portion_setting``: matched serves differ from the set portion by a steady amount: the number set
is wrong, or the program, or the glass.

A tap whose items all differ alike is told as one; else each item is held against the middle of its
tap's items. Raised from ``WHOLE`` on over ``FEWEST`` serves; with ``MANY`` times the serves, ``EASE`` of that
is clear as well. A steady under-pour is a customer's matter and is said as such.
"""

from __future__ import annotations

from collections import defaultdict
from statistics import NormalDist

from unrung.findings.certainty import confidence, level, ounces
from unrung.findings.facts import Facts
from unrung.findings.fills import FEW, Fill, fills_of
from unrung.findings.finding import Finding
from unrung.findings.tap_levels import Piece, Tap, middle_of, tap_levels
from unrung.findings.wording import drink, moment, serve_volume, share, sum_volume, times
from unrung.settings import Settings

FEWEST = 30
WHOLE = (ounces(0.5), 0.03)
"""Microlitres and share of the portion: common practice, no source."""
MANY, EASE = 10, 0.7
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
            if tap_name not in told and len(fill.keys) >= FEW:
                items[item].append((fill, fill.mean - middle_of(fills)))
    for _, cells in sorted(items.items()):
        made = _one_item(facts, settings, cells, len(items))
        found += [made] if made else []
    return found


def stands_clear(difference: float, portion_ul: float, serves: int) -> bool:
    """Whether a mean difference (a share of the portion) over so many serves is worth a finding."""
    ease = EASE if serves >= MANY * FEWEST else 1.0
    return (
        serves >= FEWEST and abs(difference) >= WHOLE[1] * ease
        and abs(difference) * portion_ul >= WHOLE[0] * ease
    )


def difference_chance(difference: float, error: float) -> float:
    """Chance of a mean this far from nothing, by noise alone."""
    return 2 * NormalDist().cdf(-abs(difference) / error)


def _whole_tap(
    facts: Facts, settings: Settings, tap: Tap, piece: Piece, places: int
) -> Finding | None:
    chance = difference_chance(piece.level, piece.error)
    mean = sum(facts.serves[key].portion_ul for key in piece.keys) / len(piece.keys)
    clear = stands_clear(piece.level, mean, len(piece.keys))
    if not tap.agrees or not clear or chance >= level(places):
        return None
    first, last = piece.keys[0], piece.keys[-1]
    claims = {
        key: round(piece.level * facts.serves[key].portion_ul)
        for key in facts.window.by_tap[tap.tap] if first <= key <= last and facts.serves[key].paired
    }
    start = facts.serves[first].start_ms
    evidence = (
        f"All items at tap {tap.tap} differ from their portions by {share(piece.level)} over "
        f"{times(len(claims), 'serve')} since {moment(start, settings)}: "
        f"{sum_volume(sum(claims.values()), settings)}.{CUSTOMERS if piece.level < 0 else ''}"
    )
    return Finding(
        "portion_setting", tap.outlet, f"Every glass {_side(piece.level)} its portion, tap {tap.tap}",
        evidence, confidence(chance, places), start, facts.serves[last].end_ms,
        facts.serves[last].product, tap.tap, claims,
    )


def _one_item(
    facts: Facts, settings: Settings, cells: list[tuple[Fill, float]], places: int
) -> Finding | None:
    count = sum(len(fill.keys) for fill, _ in cells)
    off = sum(difference * len(fill.keys) for fill, difference in cells) / count
    error = sum((fill.error * len(fill.keys)) ** 2 for fill, _ in cells) ** 0.5 / count
    cell = cells[0][0].cell
    chance = difference_chance(off, error)
    if not stands_clear(off, cell.portion_ul, count) or chance >= level(places):
        return None
    taps = [fill.cell.tap for fill, _ in cells]
    plain = {key for fill, _ in cells for key in fill.keys}
    claims = {
        key: round(off * cell.portion_ul)
        for tap in taps for key in facts.window.by_tap[tap]
        if facts.serves[key].paired and (key in plain or not facts.serves[key].other_size)
        and (facts.serves[key].item, facts.serves[key].size) == (cell.item, cell.size)
    }
    serves = [facts.serves[key] for key in sorted(claims)]
    mean = cell.portion_ul * (1 + sum(fill.mean * len(fill.keys) for fill, _ in cells) / count)
    name = drink(cell.item, cell.size)
    evidence = (
        f"{times(len(serves), 'serve')} of {name} at tap {' and '.join(taps)} held "
        f"{serve_volume(mean, settings)} on average against {serve_volume(cell.portion_ul, settings)} "
        f"set, since {moment(serves[0].start_ms, settings)}: "
        f"{sum_volume(sum(claims.values()), settings)}.{CUSTOMERS if off < 0 else ''}"
    )
    return Finding(
        "portion_setting", cell.outlet, f"{name} {_side(off)} its portion, {cell.outlet}", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms, cell.product,
        taps[0] if len(taps) == 1 else "", claims,
    )


def _side(difference: float) -> str:
    return "over" if difference > 0 else "under"
