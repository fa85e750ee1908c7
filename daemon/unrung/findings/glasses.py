"""The glasses of one day that a single ring answers, by menu item and tap."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import partial
from itertools import compress
from typing import Any, NamedTuple

from unrung.findings.of_a_day import Columns, columns
from unrung.ledger.facts import DayFacts, ServeFact

TOP_UP_SHARE = 0.2
"""A last go of at most this share of the glass is a top-up; a larger one is a glass in two goes."""


class Cell(NamedTuple):
    """One menu item (or portion) of one product at one tap."""

    outlet: str
    product: str
    tap: str
    item: str
    size: str
    portion_ul: int


class Glasses(NamedTuple):
    """Glasses of a cell on one day, in order of time."""

    numbers: list[int]
    """Of their serves within the day."""
    ratios: list[float]
    """Metered less set, over the portion."""
    least: float
    """Of the ratios."""
    most: float
    other_size: frozenset[int]
    """Numbers of those that are nearer another size."""
    known: dict[bool, Any]
    """What ``fills`` made of them, kept with the day: whatever is explained of them, and as they are."""


def topped_up(serve: ServeFact) -> bool:
    """Whether the last of several goes at a glass was a small one."""
    return len(serve.parts) > 1 and serve.parts[-1][2] <= TOP_UP_SHARE * serve.volume_ul


def cell_of(serve: ServeFact) -> Cell:
    """The cell of a paired serve."""
    return Cell(serve.outlet, serve.product, serve.tap, serve.item, serve.size, serve.portion_ul)


def of_other_size(day: DayFacts) -> list[int]:
    """Numbers of the day's serves that are nearer another size than the one rung."""
    return [number for number, other_size in enumerate(columns(day).other_size) if other_size]


def in_one_go(day: DayFacts) -> dict[Cell, Glasses]:
    """The day's glasses but for those that were topped up."""
    return day.once("glasses", None, partial(all_glasses, day))[False]


def in_several_goes(day: DayFacts) -> dict[Cell, Glasses]:
    """The day's glasses that were topped up."""
    return day.once("glasses", None, partial(all_glasses, day))[True]


def all_glasses(day: DayFacts) -> dict[bool, dict[Cell, Glasses]]:
    """By whether they were topped up."""
    own = columns(day)
    cells = zip(own.outlet, own.product, own.tap, own.item, own.size, own.portion_ul, strict=True)
    once: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    again: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for number, cell in compress(enumerate(cells), own.paired):
        topped = len(own.parts[number]) > 1 and topped_up(day.serves[number])
        (again if topped else once)[cell].append(number)
    return _by_cell(day, {False: once, True: again})


def as_rows(made: Mapping[bool, Mapping[Cell, Glasses]]) -> list[list[Any]]:
    """What ``all_glasses`` made as lists of numbers and texts."""
    return [
        [topped, *cell, glasses.numbers] for topped, found in made.items() for cell, glasses in found.items()
    ]


def of_rows(day: DayFacts, rows: Sequence[Sequence[Any]]) -> dict[bool, dict[Cell, Glasses]]:
    """What ``all_glasses`` made of ``day``, which ``as_rows`` made lists of."""
    found: dict[bool, dict[tuple[Any, ...], list[int]]] = {False: {}, True: {}}
    for topped, *cell, numbers in rows:
        found[topped][tuple(cell)] = numbers
    return _by_cell(day, found)


def _by_cell(
    day: DayFacts, found: Mapping[bool, Mapping[tuple[Any, ...], list[int]]]
) -> dict[bool, dict[Cell, Glasses]]:
    """``found``: numbers of the serves of each cell."""
    own, other_size = columns(day), set(day.once("of other size", None, partial(of_other_size, day)))
    return {
        topped: {
            Cell._make(cell): _glasses(own, cell[-1], numbers, other_size) for cell, numbers in cells.items()
        }
        for topped, cells in found.items()
    }


def _glasses(own: Columns, portion_ul: int, numbers: list[int], other_size: set[int]) -> Glasses:
    volumes_ul = map(own.volume_ul.__getitem__, numbers)
    ratios = [(volume_ul - portion_ul) / portion_ul for volume_ul in volumes_ul]
    apart = frozenset(other_size.intersection(numbers)) if other_size else frozenset[int]()
    return Glasses(numbers, ratios, min(ratios), max(ratios), apart, {})
