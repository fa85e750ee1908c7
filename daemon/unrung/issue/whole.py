"""A day's figures in whole steps of volume, every row footing, for a mail or a small screen.

A step is one of the last decimal shown: a fluid ounce, a millilitre, a tenth of a litre.

Each figure of a row becomes its own floor or ceiling, and these hold in the whole numbers:

    compared      = matched + portion_difference + logged + poured_not_rung
    poured        = compared + poured_not_compared + not_beer
    compared_rung = matched + rung_not_poured
    rung          = compared_rung + rung_not_compared
    variance      = portion_difference + poured_not_rung - rung_not_poured

Such a rounding always exists: with the signs of ``compared_rung``, ``rung`` and ``variance`` turned, every
figure stands in at most one equation with + and in at most one with -. That is a network flow, and a bounded
network flow can be taken whole (integrality theorem; controlled rounding after Cox and Ernst,
1982; both from memory). Among the roundings of a row the one is taken that keeps the running totals
nearest to the truth, so that the foot of the table, the sum of its rows, stays near it too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import NamedTuple

from unrung.ledger.results import Volumes
from unrung.units import step_ul


class Whole(NamedTuple):
    """Parts of one row (or the sum of rows) in whole steps; the rest follows from them."""

    matched_portion: int = 0
    portion_difference: int = 0
    logged: int = 0
    poured_not_rung: int = 0
    poured_not_compared: int = 0
    not_beer: int = 0
    rung_not_poured: int = 0
    rung_not_compared: int = 0

    @property
    def compared(self) -> int:
        """Beer that was poured and compared: the denominator of the variance's percentage."""
        return _derived(self).compared

    @property
    def poured(self) -> int:
        return _derived(self).poured

    @property
    def compared_rung(self) -> int:
        """What was rung and compared."""
        return _derived(self).compared_rung

    @property
    def rung(self) -> int:
        return _derived(self).rung

    @property
    def variance(self) -> int:
        return _derived(self).variance


class Derived(NamedTuple):
    """What follows from the parts of a row."""

    compared: int
    poured: int
    compared_rung: int
    rung: int
    variance: int


def whole_sum(rows: Iterable[Whole]) -> Whole:
    """Part by part; it foots because its rows do."""
    return Whole(*map(sum, zip(Whole(), *rows, strict=True)))


def whole_rows(volumes: Sequence[Volumes], unit: str) -> list[Whole]:
    """``volumes`` (microlitres) in whole steps of ``unit``, in the order given."""
    size = step_ul(unit)
    drift = [0] * (len(Whole._fields) + len(Derived._fields))
    rows = []
    for one in volumes:
        scaled = [getattr(one, name) * size.denominator for name in Whole._fields]
        row, errors = min(
            _roundings(scaled, size.numerator), key=lambda found: _cost(drift, found[1])
        )
        drift = [sum(pair) for pair in zip(drift, errors, strict=True)]
        rows.append(row)
    return rows


def _roundings(scaled: Sequence[int], size: int) -> Iterator[tuple[Whole, list[int]]]:
    """Every rounding whose derived figures are floors or ceilings too, with its errors.

    ``scaled`` and the errors are counted in ``1/size`` of a step.
    """
    choices = [{part // size, -(-part // size)} for part in scaled]
    for parts in product(*map(sorted, choices)):
        errors = [part * size - exact for part, exact in zip(parts, scaled, strict=True)]
        derived = _derived(errors)
        if all(abs(error) < size for error in derived):
            yield Whole(*parts), [*errors, *derived]


def _derived(parts: Sequence[int]) -> Derived:
    """Of the eight parts; linear, so it serves for errors as well."""
    matched, difference, logged, not_rung, not_compared, not_beer, not_poured, lone = parts
    compared, rung = matched + difference + logged + not_rung, matched + not_poured
    return Derived(
        compared, compared + not_compared + not_beer, rung, rung + lone, difference + not_rung - not_poured
    )


def _cost(drift: Sequence[int], errors: Sequence[int]) -> tuple[int, int]:
    """How far the running totals would stray, then how far the row itself does."""
    strayed = sum((had + new) ** 2 for had, new in zip(drift, errors, strict=True))
    return strayed, sum(new**2 for new in errors)
