"""How glasses are filled in several goes: learnt from one day, by expectation and maximisation."""

from __future__ import annotations

from dataclasses import dataclass
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours
from unrung.matching.fills import Fills, deviations, filled, sized_density
from unrung.matching.links import Links


@dataclass(frozen=True, slots=True)
class Habits:
    """How glasses are filled in several goes."""

    odds: Floats
    """Log odds of each kind of link."""
    taste: Floats
    """Per product: log of how much likelier than on the whole its pours are fragments."""
    division: Floats
    """(paces, products, bins): log density of the share of a vessel that its second fragment
    holds."""
    lift: Floats
    """Per product: log of how much more a glass filled in several goes holds than others."""
    spread: float
    """Standard deviation of the log of such a glass."""


def prior_habits(products: int) -> Habits:
    """What is believed before the day's data speak."""
    odds = _prior_odds()
    division = np.log(_prior_division() / np.diff(priors.SHARES))
    shape = (len(priors.PACES_S) + 1, products, 1)
    return Habits(
        odds, np.zeros(products), np.tile(division, shape), np.zeros(products),
        priors.LIFT_SPREAD,
    )


def learn_habits(
    pours: Pours, fills: Fills, cost: Floats, links: Links, habits: Habits
) -> tuple[Habits, Bools, Floats]:
    """One step of expectation and maximisation: the habits, which pours are likelier fragments than
    not, and how much each pour gains (log likelihood) by those that may go on filling its vessel."""
    chain = np.stack((links.first, links.second), axis=1)
    log_odds = habits.odds[links.kind] + habits.taste[pours.product[links.first]]
    ratio = cost[chain].sum(axis=1)
    ratio -= join_cost(pours, fills, chain, log_odds, links.pace, habits)[0]
    weight = np.exp(np.clip(ratio, -50, 50))
    count = len(cost)
    rivals = 1 + np.maximum(
        np.bincount(links.first, weight, count)[links.first],
        np.bincount(links.second, weight, count)[links.second],
    )
    chance = weight / rivals
    product, bin_of = pours.product[links.first], _division_bin(pours.volume[chain])
    fragment = (
        np.bincount(links.first, chance, count) + np.bincount(links.second, chance, count)
    ) > 0.5
    lift, spread = _lift(pours, fills, chain, chance, len(habits.taste))
    return Habits(
        _odds(links, chance, len(habits.odds)),
        _taste(links, chance, product, habits),
        _divisions(chance, links.pace, product, bin_of, len(habits.taste)),
        lift, spread,
    ), fragment, np.log1p(np.bincount(links.first, weight, count))


def join_cost(
    pours: Pours, fills: Fills, chain: Ints, log_odds: Floats, pace: Ints, habits: Habits
) -> tuple[Floats, Floats]:
    """Negative log density of the chains' volumes (over their logarithms) as one serve each, and
    the part of the density that is the serve's own volume.

    ``chain``: rows of the pours, (chains, fragments); ``log_odds`` that they belong together.
    """
    parts = pours.volume[chain]
    product = pours.product[chain[:, 0]]
    log_volume = filled(fills, product, pours.tap[chain[:, 0]], parts.sum(axis=1))
    fit = sized_density(fills, product, log_volume - habits.lift[product], habits.spread)
    fit = np.maximum(fit, 1e-100)
    divided = division_log(parts)
    if parts.shape[1] == 2:
        divided += habits.division[pace, product, _division_bin(parts)]
    return -(np.log(fit) + divided + log_odds), fit


def division_log(parts: Ints) -> Floats:
    """Log density, over the logarithms of the parts, of a total that divides evenly at random."""
    parts = np.maximum(parts, 1)
    found: Floats = np.log(parts / parts.sum(axis=1)[:, None]).sum(axis=1)
    return found + lgamma(parts.shape[1])


def _lift(
    pours: Pours, fills: Fills, chain: Ints, chance: Floats, products: int
) -> tuple[Floats, float]:
    """What joined glasses hold beyond others, per product, and their spread."""
    product = pours.product[chain[:, 0]]
    log_volume = filled(fills, product, pours.tap[chain[:, 0]], pours.volume[chain].sum(axis=1))
    off = deviations(fills, product, log_volume)
    near = np.abs(off) < priors.FILL_BIAS_REACH
    off, weight, product = off[near], chance[near], product[near]
    belief = priors.LIFT_PRIOR
    whole = float((weight * off).sum()) / (float(weight.sum()) + belief)
    each = (np.bincount(product, weight * off, products) + belief * whole) / (
        np.bincount(product, weight, products) + belief
    )
    square = float((weight * (off - each[product]) ** 2).sum()) + belief * priors.LIFT_SPREAD**2
    return each, min(max((square / (float(weight.sum()) + belief)) ** 0.5, 0.03), 0.1)


def _prior_odds() -> Floats:
    pauses = len(priors.PAUSES_S) + 1
    odds = np.repeat([priors.JOIN_LOG_ODDS, priors.INTERLEAVED_LOG_ODDS], pauses)
    return np.append(odds, priors.CARRIED_LOG_ODDS)


def _odds(links: Links, chance: Floats, kinds: int) -> Floats:
    prior = _prior_odds()
    share = priors.LINK_PRIOR / (1 + np.exp(-prior))
    joined = np.bincount(links.kind, chance, kinds) + share
    apart = np.bincount(links.kind, 1 - chance, kinds) + priors.LINK_PRIOR - share
    found: Floats = np.log(joined / apart)
    return found


def _taste(links: Links, chance: Floats, product: Ints, habits: Habits) -> Floats:
    expected = 1 / (1 + np.exp(-habits.odds[links.kind]))
    count = len(habits.taste)
    seen = np.bincount(product, chance, count) + priors.TASTE_PRIOR
    found: Floats = np.log(seen / (np.bincount(product, expected, count) + priors.TASTE_PRIOR))
    return found


def _divisions(
    chance: Floats, pace: Ints, product: Ints, bin_of: Ints, products: int
) -> Floats:
    bins, paces = len(priors.SHARES) - 1, len(priors.PACES_S) + 1
    cell = (pace * products + product) * bins + bin_of
    count = np.bincount(cell, chance, paces * products * bins).reshape(paces, products, bins)
    usual = count.sum(axis=1) + priors.DIVISION_PRIOR * _prior_division()
    usual /= usual.sum(axis=1, keepdims=True)
    each = count + priors.DIVISION_PRIOR * usual[:, None, :]
    each /= each.sum(axis=2, keepdims=True)
    found: Floats = np.log(each / np.diff(priors.SHARES))
    return found


def _prior_division() -> Floats:
    """Chance of each class of the second fragment's share."""
    rate, share = priors.TOP_UP_RATE, priors.TOP_UP_SHARE
    edges = np.array(priors.SHARES)
    small = (1 - np.exp(-rate * edges)) / (1 - np.exp(-rate))
    found: Floats = np.diff(share * small + (1 - share) * edges)
    return found


def _division_bin(parts: Ints) -> Ints:
    share = parts[:, 1] / np.maximum(parts.sum(axis=1), 1)
    found: Ints = np.searchsorted(priors.SHARES, share, "right") - 1
    return np.clip(found, 0, len(priors.SHARES) - 2)
