"""Rings and serves of several days put together under one numbering of products."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching.columns import Bools, Ints
from unrung.matching.confusion import Confusion
from unrung.matching.laws import CLASSES, Laws
from unrung.matching.prepare import Prepared
from unrung.matching.sides import Glasses, Rings


@dataclass(frozen=True, slots=True)
class Nodes:
    """One assignment problem. ``*_day`` and ``*_row`` say where each node came from: the place in
    the list of days, and the row of that day's ``rings`` or ``glasses``."""

    rings: Rings
    glasses: Glasses
    laws: Laws
    ring_day: Ints
    ring_row: Ints
    glass_day: Ints
    glass_row: Ints
    well_ring: Bools
    """Per ring, and per glass, whether its day's learning left it well paired."""
    well_glass: Bools
    confusion: Confusion


def gather(days: Sequence[Prepared], rings: Sequence[Ints], glasses: Sequence[Ints]) -> Nodes:
    """The given rows of each day's rings and glasses as one problem, in canonical order."""
    names = _numbering(days)
    ring_day, ring_row = _origin(rings)
    glass_day, glass_row = _origin(glasses)
    r = {
        name: np.concatenate([getattr(d.rings, name)[at] for d, at in zip(days, rings, strict=True)])
        for name in ("corrected", "shift", "law", "base", "centre", "latest")
    }
    g = {
        name: np.concatenate(
            [getattr(d.glasses, name)[at] for d, at in zip(days, glasses, strict=True)]
        )
        for name in ("end", "log_volume", "lone", "wrong", "own", "other")
    }
    r["law"] = r["law"] + CLASSES * ring_day
    r["product"] = _named(names, [d.rings.product[at] for d, at in zip(days, rings, strict=True)])
    g["product"] = _named(
        names, [d.glasses.product[at] for d, at in zip(days, glasses, strict=True)]
    )
    by_ring = np.lexsort((r["corrected"], r["product"]))
    by_glass = np.lexsort((g["end"], g["product"]))
    return Nodes(
        Rings(**{name: column[by_ring] for name, column in r.items()}),
        Glasses(**{name: column[by_glass] for name, column in g.items()}),
        _stacked([day.laws for day in days]),
        ring_day[by_ring], ring_row[by_ring], glass_day[by_glass], glass_row[by_glass],
        np.concatenate([d.well_ring[at] for d, at in zip(days, rings, strict=True)])[by_ring],
        np.concatenate([d.well_serve[at] for d, at in zip(days, glasses, strict=True)])[by_glass],
        tuple(sorted({
            (int(code[rung]), int(code[poured]))
            for day, code in zip(days, names, strict=True) for rung, poured in day.confusion
        })),
    )


def _stacked(laws: Sequence[Laws]) -> Laws:
    return Laws(
        laws[0].scale,
        np.concatenate([law.solo for law in laws]),
        np.concatenate([law.mates for law in laws]),
        np.concatenate([law.solo_share for law in laws]),
    )


def _numbering(days: Sequence[Prepared]) -> list[Ints]:
    """Codes of each day's products in one common numbering."""
    names = sorted({name for day in days for name in day.products})
    rank = {name: at for at, name in enumerate(names)}
    return [np.array([rank[name] for name in day.products], np.int64) for day in days]


def _named(names: Sequence[Ints], product: Sequence[Ints]) -> Ints:
    return np.concatenate([name[code] for name, code in zip(names, product, strict=True)])


def _origin(rows: Sequence[Ints]) -> tuple[Ints, Ints]:
    day = np.repeat(np.arange(len(rows)), [len(at) for at in rows])
    return day, np.concatenate(rows)
