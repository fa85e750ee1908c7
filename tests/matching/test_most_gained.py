"""The bound on what rings could bring: never less than what one brings, and near enough to spare work."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from matching.days import DAY_MS, HALF, PINT, SETTINGS, busy_day
from unrung.matching.costs import possible_pairs, worths_of
from unrung.matching.most_gained import most_gained
from unrung.matching.prepare import prepare
from unrung.matching.sides import glasses_at, rings_at


@pytest.mark.parametrize("seed", range(20))
def test_no_pair_gains_more(seed: int) -> None:
    pours, rings = busy_day(seed, 120)
    sizes = {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}
    day = prepare(pours, rings, sizes, (0, DAY_MS), SETTINGS)
    chance = np.random.default_rng(seed)
    # Rings at any price, some voided, some of them looked for nearby only; some of the serves.
    many = len(day.rings.base)
    paid = replace(
        rings_at(day.rings, slice(None)),
        base=day.rings.base - chance.integers(0, 9_000, many),
        latest=np.where(chance.random(many) < 0.1, day.rings.corrected - 5_000, day.rings.latest),
    )
    near = chance.random(many) < 0.7
    some = np.flatnonzero(chance.random(len(day.glasses.end)) < 0.8)
    glasses = glasses_at(day.glasses, some)
    edges = possible_pairs(paid, glasses, day.laws, near)
    best = np.zeros(len(some), np.int64)
    np.maximum.at(best, edges.glass, edges.gain)
    bound = most_gained(paid, glasses, day.laws, worths_of(paid, glasses), near)
    assert (bound >= best).all()
    assert 0 < (best > 0).sum()
    assert (bound[best > 0] - best[best > 0]).mean() < 3_000


def test_nothing_to_gain_without_rings_or_without_serves() -> None:
    pours, rings = busy_day(1, 30)
    day = prepare(pours, rings, {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}, (0, DAY_MS), SETTINGS)
    none = np.zeros(0, np.int64)
    some, one = rings_at(day.rings, none), glasses_at(day.glasses, none)
    bound = most_gained(some, day.glasses, day.laws, worths_of(some, day.glasses), np.zeros(0, np.bool_))
    assert bound.tolist() == [0] * len(day.glasses.end)
    near = np.ones(len(day.rings.base), np.bool_)
    assert most_gained(day.rings, one, day.laws, worths_of(day.rings, one), near).tolist() == []


def test_a_product_without_rings_gains_nothing() -> None:
    pours, rings = busy_day(random.Random(3).randrange(9), 40)
    amber = [ring for ring in rings if ring.product == "Amber"]
    day = prepare(pours, amber, {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}, (0, DAY_MS), SETTINGS)
    near, worths = np.zeros(len(day.rings.base), np.bool_), worths_of(day.rings, day.glasses)
    bound = most_gained(day.rings, day.glasses, day.laws, worths, near)
    stout = day.glasses.product == day.products.index("Stout")
    assert stout.any() and not bound[stout].any()
    assert bound[~stout].any()
