"""Which pours are whole glasses, learnt from one day together with what glasses hold.

A step of expectation and maximisation, which stays near where it begins: where half of a stout's pints
are poured in two goes, the first goes look like short pints. So there are two beginnings, and for each
product the likelier is taken.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, pours_at
from unrung.matching.fills import Fills, Sizes, deviations, filled, learn_fills, sized_density, stray_density
from unrung.matching.glasses import Handfuls, Splits, handfuls_of, split_habit, split_options
from unrung.matching.habits import Habits, learn_habits, prior_habits
from unrung.matching.links import Links, links_at


class Weights(NamedTuple):
    """What pours cost by themselves."""

    fills: Fills
    handfuls: Handfuls
    misfit: Bools
    """Pours that fit no single glass."""
    single: Floats
    """Cost of each pour as one glass,"""
    splits: Splits
    """and as several."""


class Fragments(NamedTuple):
    """What the day's pours teach."""

    whole: Bools
    """Pours that are likelier one glass each than a part of one, or several."""
    habit: Floats
    """(days, taps): log odds of a split."""
    habits: Habits
    worth: Floats
    """Log likelihood of each product's pours, about."""


def learn_fragments(pours: Pours, run_off: Bools, links: Links, sizes: Sizes) -> Fragments:
    """From the likelier of two beginnings; the second only on days where it begins with other glasses."""
    usual, strict = _beginnings(pours, links, sizes)
    found = _learn(pours, run_off, links, sizes, usual)
    days = _other_glasses(learn_fills(pours, found.whole, sizes), learn_fills(pours, strict, sizes))
    if not days.any():
        return found
    rows = np.flatnonzero(days[sizes.day][pours.product])
    some, theirs, foam = pours_at(pours, rows), links_at(links, rows, len(pours.key)), run_off[rows]
    other = _learn(some, foam, theirs, sizes, strict[rows])
    better = (other.worth > found.worth + priors.RESTART_WORTH) & days[sizes.day]
    if not better.any():
        return found
    begun = np.where(better[some.product], strict[rows], usual[rows])
    return _in_place(found, _learn(some, foam, theirs, sizes, begun), rows, days, sizes)


def _in_place(found: Fragments, anew: Fragments, rows: Ints, days: Bools, sizes: Sizes) -> Fragments:
    """``found``, but of ``days``, whose pours are ``rows``, what was learnt ``anew``."""
    whole, product = found.whole.copy(), days[sizes.day]
    whole[rows] = anew.whole
    one, two = found.habits, anew.habits
    habits = Habits(
        np.where(days[:, None], two.odds, one.odds), np.where(product, two.taste, one.taste),
        np.where(product[:, None], two.division, one.division), np.where(product, two.lift, one.lift),
        np.where(days, two.spread, one.spread),
    )
    return Fragments(
        whole, np.where(days[:, None], anew.habit, found.habit), habits,
        np.where(product, anew.worth, found.worth),
    )


def weigh_each(pours: Pours, run_off: Bools, whole: Bools, sizes: Sizes, habit: Floats) -> Weights:
    """Costs of each pour as one glass and as several, when those of ``whole`` teach what glasses hold."""
    fills = learn_fills(pours, whole, sizes)
    handfuls = handfuls_of(fills, habit)
    log_volume = filled(fills, pours.product, pours.tap, pours.volume)
    fit = sized_density(fills, pours.product, log_volume)
    single: Floats = -np.log(fit + stray_density(fills, pours.product, log_volume, run_off))
    misfit = fit < priors.SPLIT_LEAST_FIT
    return Weights(fills, handfuls, misfit, single, split_options(pours, fills, handfuls, single))


def cheapest(single: Floats, splits: Splits) -> Floats:
    """Cost of each pour by itself, as one glass or several."""
    cost = single.copy()
    cost[splits.rows] = np.minimum(cost[splits.rows], splits.cost[:, 0])
    return cost


def _learn(pours: Pours, run_off: Bools, links: Links, sizes: Sizes, whole: Bools) -> Fragments:
    habits, habit = prior_habits(len(sizes.size_ul), sizes.days), np.zeros((sizes.days, len(pours.taps)))
    weights = weigh_each(pours, run_off, whole, sizes, habit)
    single, splits = weights.single, weights.splits
    cost = cheapest(single, splits)
    habits, fragment, gain = learn_habits(pours, weights.fills, cost, links, habits)
    whole = ~fragment
    whole[splits.rows[splits.cost[:, 0] < single[splits.rows] + 1]] = False
    worth = np.bincount(pours.product, gain - cost, len(sizes.size_ul)).astype(np.float64)
    return Fragments(whole, split_habit(pours, single, splits, sizes.day, sizes.days), habits, worth)


def _beginnings(pours: Pours, links: Links, sizes: Sizes) -> tuple[Bools, Bools]:
    """Pours that are no fragments at first sight: glass-sized, or on their own; and of these, those
    that no much smaller flow follows."""
    fills = learn_fills(pours, np.zeros(len(pours.key), np.bool_), sizes)
    off = deviations(fills, pours.product, np.log(np.maximum(pours.volume, 1)))
    linked = np.zeros(len(pours.key), np.bool_)
    linked[links.first] = True
    linked[links.second] = True
    usual: Bools = (np.abs(off) < priors.FILL_BIAS_REACH) | ~linked
    smaller = pours.volume[links.second] < priors.MUCH_SMALLER * pours.volume[links.first]
    strict = usual.copy()
    strict[links.first[smaller]] = False
    strict[links.second[smaller]] = False
    return usual, strict


def _other_glasses(one: Fills, two: Fills) -> Bools:
    """Per day, whether some glass of some tap holds something else."""
    holds = [(fills.centre[:, :, None] + fills.shift[:, None, :]) for fills in (one, two)]
    other = (np.abs(holds[0] - holds[1]) > priors.OTHER_GLASS).any(axis=(1, 2))
    found: Bools = np.bincount(one.day[other], minlength=len(one.spread)) > 0
    return found
