"""How full the glasses are: metered against set, of serves that a single ring answers.

Left out are pairs of another size (``wrong_size``), glasses that were topped up by a small second go
(``top_ups``), and the far ends of the spread, where a pair is as likely wrong.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean
from typing import NamedTuple

from unrung.findings.facts import Facts
from unrung.findings.statistics import spread
from unrung.ledger.facts import ServeFact

FAR = 0.17
"""A serve that differs by more than this share of its portion teaches nothing about portions."""
TOP_UP_SHARE = 0.2
"""A last go of at most this share of the glass is a top-up; a larger one is a glass in two goes."""
FEW = 8


class Cell(NamedTuple):
    """One menu item (or portion) of one product at one tap."""

    outlet: str
    product: str
    tap: str
    item: str
    size: str
    portion_ul: int


@dataclass(frozen=True)
class Fill:
    """The plain serves of a cell: keys in order of time, and metered over set less 1 of each."""

    cell: Cell
    keys: list[int]
    ratios: list[float]

    @cached_property
    def mean(self) -> float:
        return fmean(self.ratios)

    @cached_property
    def error(self) -> float:
        """Standard error of the mean."""
        return max(spread(self.ratios), 0.005) / math.sqrt(len(self.ratios))


def topped_up(serve: ServeFact) -> bool:
    """Whether the last of several goes at a glass was a small one."""
    return len(serve.parts) > 1 and serve.parts[-1][2] <= TOP_UP_SHARE * serve.volume_ul


def is_plain(serve: ServeFact) -> bool:
    """Whether a serve teaches how full this glass usually is."""
    return (
        serve.paired and not serve.other_size and not topped_up(serve)
        and abs(serve.difference_ul) <= FAR * serve.portion_ul
    )


def fills_of(facts: Facts) -> dict[Cell, Fill]:
    """Every cell with its plain serves, sorted."""
    return facts.once("fills", _fills)


def _fills(facts: Facts) -> dict[Cell, Fill]:
    cells: dict[Cell, tuple[list[int], list[float]]] = defaultdict(lambda: ([], []))
    for key, serve in enumerate(facts.serves):
        if is_plain(serve):
            cell = Cell(serve.outlet, serve.product, serve.tap, serve.item, serve.size, serve.portion_ul)
            keys, ratios = cells[cell]
            keys.append(key)
            ratios.append(remaining(facts, key) / serve.portion_ul)
    return {cell: Fill(cell, *cells[cell]) for cell in sorted(cells)}


def remaining(facts: Facts, key: int) -> int:
    """What of a paired serve's difference nothing has explained yet."""
    return facts.serves[key].difference_ul - facts.taken.get(key, 0)
