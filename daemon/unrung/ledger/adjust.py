"""What later rows or settings change in a closed period: figure by figure, as printed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import NamedTuple

Figures = Mapping[tuple[str, str], Mapping[str, str]]
"""(outlet, product) to the printed digits of each figure; a figure that is not known is absent."""
CAUSES = ("late_rows", "settings", "late_rows_and_settings")


class Adjustment(NamedTuple):
    """A figure of a closed period that would be another one now. As printed."""

    period: str
    """The open period that carries it."""
    origin_period: str
    origin_day: str
    outlet: str
    product: str
    figure: str
    unit: str
    old: str
    new: str
    cause: str
    source_file: str


class Change(NamedTuple):
    """One figure that moved."""

    outlet: str
    product: str
    figure: str
    old: str
    new: str


def changes(issued: Figures, made: Figures, now: Figures) -> list[Change]:
    """What moved between ``made`` (as last made) and ``now``, told from the ``issued`` figures on.

    >>> was, now = {("Bar", "Stout"): {"rung": "5.000"}}, {("Bar", "Stout"): {"rung": "7.500"}}
    >>> changes({("Bar", "Stout"): {"rung": "5.100"}}, was, now)[0][2:]
    ('rung', '5.100', '7.600')
    """
    found = []
    for place in sorted({*made, *now}):
        before, after = made.get(place, {}), now.get(place, {})
        for figure in sorted({*before, *after}):
            moved = _number(after, figure) - _number(before, figure)
            if moved:
                old = _number(issued.get(place, {}), figure)
                found.append(Change(*place, figure, str(old), str(old + moved)))
    return found


def applied(issued: Figures, moved: Iterable[Change]) -> dict[tuple[str, str], dict[str, str]]:
    """The issued figures with the changes made to them."""
    figures = {place: dict(cells) for place, cells in issued.items()}
    for one in moved:
        figures.setdefault((one.outlet, one.product), {})[one.figure] = one.new
    return figures


def _number(cells: Mapping[str, str], figure: str) -> Decimal:
    return Decimal(cells.get(figure, "0"))
