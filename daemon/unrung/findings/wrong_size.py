"""``wrong_size``: one size poured, another rung.

A pair of which the serve is nearer to another size on the menu than to the one rung. Matching itself
errs both ways, and so do hands: a sloppy pint may look like the next larger size, but as many fall as far
short. Only what goes the larger way more often than the smaller, beyond chance, is raised, and as many of
them as go that way more often.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from statistics import median

from unrung.findings.certainty import confidence, level
from unrung.findings.facts import Facts
from unrung.findings.fills import FEW, remaining
from unrung.findings.finding import Finding
from unrung.findings.glasses import Cell, Glasses, cell_of, in_one_go, in_several_goes, of_other_size
from unrung.findings.plain import SHIFTED
from unrung.findings.statistics import binomial_tail
from unrung.findings.wording import drink, sum_volume, times
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.settings import Settings
from unrung.venue_time import moment

NEAR = 0.13
"""A serve of another size is this near to it."""
FEWEST = 6
LEAST_SHARE = 0.003
"""Of an outlet's paired serves: less is not worth a talk."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    larger: dict[str, list[int]] = defaultdict(list)
    smaller: Counter[str] = Counter()
    paired = facts.window.paired
    for key in facts.window.keys_of("of other size", of_other_size):
        serve, left = facts.serves[key], remaining(facts, key)
        if abs(facts.taken.get(key, 0)) > SHIFTED * serve.portion_ul or _all_are_off(facts, key, serve):
            continue
        if abs(left) > NEAR * serve.portion_ul and _is_a_size(facts, serve, left):
            if left > 0:
                larger[serve.outlet].append(key)
            else:
                smaller[serve.outlet] += 1
    found = []
    for outlet, keys in sorted(larger.items()):
        least = max(FEWEST, LEAST_SHARE * paired[outlet])
        if len(keys) - smaller[outlet] < least:
            continue
        other_way = smaller[outlet] + _as_short(facts, {cell_of(facts.serves[key]) for key in keys})
        chance = binomial_tail(len(keys), len(keys) + other_way, 0.5)
        if len(keys) - other_way >= least and chance < level(len(paired)):
            surest = sorted(keys, key=lambda key: _doubt(facts, key))[: len(keys) - other_way]
            found.append(_finding(facts, settings, outlet, sorted(surest), chance, len(paired)))
    return found


def _as_short(facts: Facts, cells: Iterable[Cell]) -> int:
    """Glasses that are as far below the middle of their cell as one of a larger size would be above it, and
    of no smaller size themselves: so many of the larger ones are of hands that pour unevenly."""
    count = 0
    for cell in cells:
        on_days = _glasses_of(facts.window.days, cell)
        middle = median([ratio for glasses in on_days for ratio in glasses.ratios])
        reaches = [
            (max(NEAR, (1 - NEAR) * size / cell.portion_ul - 1), (1 + NEAR) * size / cell.portion_ul - 1)
            for size in facts.window.portions.get(cell.product, ()) if size > cell.portion_ul
        ]
        for glasses in on_days:
            count += sum(
                any(low <= 2 * middle - ratio <= high for low, high in reaches)
                for number, ratio in zip(glasses.numbers, glasses.ratios, strict=True)
                if ratio < 2 * middle - NEAR and number not in glasses.other_size
            )
    return count


def _all_are_off(facts: Facts, key: int, serve: ServeFact) -> bool:
    """Whether that day's glasses of the item at the tap (where there are few, those of all days) are far
    from their portion on the whole: then a larger one is one of them, and no other size."""
    window, cell = facts.window, cell_of(serve)
    day = window.days[window.day_of(key)]
    of_the_day: dict[Cell, bool | None] = day.once("cells off", None, dict)
    if cell not in of_the_day:
        of_the_day[cell] = _is_off([day], cell)
    off = of_the_day[cell]
    if off is None:
        of_all: dict[Cell, bool | None] = window.once("cells off", dict)
        if cell not in of_all:
            of_all[cell] = _is_off(window.days, cell)
        off = of_all[cell]
    return bool(off)


def _glasses_of(days: Iterable[DayFacts], cell: Cell) -> list[Glasses]:
    """A cell's glasses on every day, topped up or not."""
    return [
        glasses[cell] for day in days for glasses in (in_one_go(day), in_several_goes(day)) if cell in glasses
    ]


def _is_off(days: Iterable[DayFacts], cell: Cell) -> bool | None:
    """Whether a cell's paired glasses are far from their portion on the whole; None where few tell."""
    ratios = [ratio for glasses in _glasses_of(days, cell) for ratio in glasses.ratios]
    return abs(median(ratios)) > SHIFTED if len(ratios) >= FEW else None


def _is_a_size(facts: Facts, serve: ServeFact, left_ul: int) -> bool:
    """Whether the serve holds another size, less what other findings explain of its difference."""
    sizes = facts.window.portions.get(serve.product, ())
    return any(abs(serve.portion_ul + left_ul - size) <= NEAR * size for size in sizes)


def _doubt(facts: Facts, key: int) -> tuple[bool, float, int]:
    """The surest first: no other partner as likely, nearest to a size."""
    serve = facts.serves[key]
    sizes = facts.window.portions[serve.product]
    return serve.uncertain, min(abs(serve.volume_ul - size) / size for size in sizes), key


def _finding(
    facts: Facts, settings: Settings, outlet: str, keys: list[int], chance: float, places: int
) -> Finding:
    serves = [facts.serves[key] for key in keys]
    claims = {key: remaining(facts, key) for key in keys}
    volume = sum(claims.values())
    rung, count = Counter(drink(s.item, s.size) for s in serves).most_common(1)[0]
    evidence = (
        f"{times(len(keys), 'serve', settings)} at {outlet} since "
        f"{moment(serves[0].start_ms, settings)} held a "
        f"larger size than was rung: {sum_volume(volume, settings)}. Most often {rung} was rung "
        f"({count})."
    )
    return Finding(
        "wrong_size", outlet, "Larger size poured than rung", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms,
        serves=claims,
    )
