"""``portion_setting``: glasses of one item differ from the set portion by a steady amount: the number
set is wrong, or the program, or the glass.

Each item at each tap is held against what all items of its outlet have in common. Raised from
``WHOLE`` on over ``FEWEST`` serves; with ten times the serves, half of that is clear as well.
A steady under-pour is a customer's matter and is said as such.
"""

from __future__ import annotations

from collections import defaultdict
from statistics import NormalDist

from unrung.findings.certainty import confidence, level, ounces
from unrung.findings.facts import Facts
from unrung.findings.fills import Cell, Fill, base_of, fills_of
from unrung.findings.finding import Finding
from unrung.findings.wording import drink, moment, serve_volume, sum_volume, times
from unrung.settings import Settings

FEWEST = 30
WHOLE = (ounces(0.5), 0.03)
"""Microlitres and share of the portion: common practice, no source."""
MANY = 10


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool and menu item."""
    fills = fills_of(facts)
    items: dict[tuple[str, str, str, str, int], list[Fill]] = defaultdict(list)
    for cell, fill in fills.items():
        items[cell.outlet, cell.product, cell.item, cell.size, cell.portion_ul].append(fill)
    found = []
    for (outlet, *_), taps in sorted(items.items()):
        made = _judge(facts, settings, taps, base_of(fills, outlet), len(items))
        found += [made] if made else []
    return found


def stands_clear(difference: float, portion_ul: float, serves: int) -> bool:
    """Whether a mean difference (a share of the portion) over so many serves is worth a finding."""
    ease = 0.5 if serves >= MANY * FEWEST else 1.0
    return (
        serves >= FEWEST and abs(difference) >= WHOLE[1] * ease
        and abs(difference) * portion_ul >= WHOLE[0] * ease
    )


def _judge(
    facts: Facts, settings: Settings, taps: list[Fill], base: float, places: int
) -> Finding | None:
    count = sum(len(fill.keys) for fill in taps)
    mean = sum(fill.mean * len(fill.keys) for fill in taps) / count
    error = sum((fill.error * len(fill.keys)) ** 2 for fill in taps) ** 0.5 / count
    cell = taps[0].cell
    chance = 2 * NormalDist().cdf(-abs(mean - base) / error)
    if not stands_clear(mean - base, cell.portion_ul, count) or chance >= level(places):
        return None
    keys = sorted(key for fill in taps for key in fill.keys)
    shift = round((mean - base) * cell.portion_ul)
    claims = dict.fromkeys(keys, shift)
    return _finding(facts, settings, cell, taps, claims, confidence(chance, places))


def _finding(
    facts: Facts, settings: Settings, cell: Cell, taps: list[Fill], claims: dict[int, int], sure: str
) -> Finding:
    shift = next(iter(claims.values()))
    serves = [facts.serves[key] for key in claims]
    name = drink(cell.item, cell.size)
    mean = sum(serve.volume_ul for serve in serves) / len(serves)
    where = " and ".join(fill.cell.tap for fill in taps)
    direction = "over" if shift > 0 else "under"
    evidence = (
        f"{times(len(serves), 'serve')} of {name} at tap {where} held {serve_volume(mean, settings)} on "
        f"average against {serve_volume(cell.portion_ul, settings)} set, since "
        f"{moment(serves[0].start_ms, settings)}: {sum_volume(shift * len(serves), settings)}."
    )
    if shift < 0:
        evidence += " Guests get less than is set: a customer's matter."
    return Finding(
        "portion_setting", cell.outlet, f"{name} poured {direction} its portion, {cell.outlet}", evidence,
        "high" if sure == "high" else "medium", serves[0].start_ms, serves[-1].end_ms, cell.product,
        taps[0].cell.tap if len(taps) == 1 else "", claims,
    )
