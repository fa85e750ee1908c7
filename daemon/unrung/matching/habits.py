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
    """(days, kinds): log odds of each kind of link."""
    taste: Floats
    """Per product: log of how much likelier than on the whole its pours are fragments."""
    division: Floats
    """(paces, products, bins): log density of the share of a vessel that its second fragment
    holds."""
    lift: Floats
    """Per product: log of how much more a glass filled in several goes holds than others."""
    spread: Floats
    """Per day, standard deviation of the log of such a glass."""


def prior_habits(products: int, days: int) -> Habits:
    """What is believed before the data speak."""
    odds = np.tile(_prior_odds(), (days, 1))
    division = np.log(_prior_division() / np.diff(priors.SHARES))
    shape = (len(priors.PACES_S) + 1, products, 1)
    return Habits(
        odds, np.zeros(products), np.tile(division, shape), np.zeros(products),
        np.full(days, priors.LIFT_SPREAD),
    )


def log_odds_of(links: Links, product: Ints, day: Ints, habits: Habits) -> Floats:
    """Log odds that the pours of each link belong together; ``product``: of its pours, ``day``: of each
    product."""
    found: Floats = habits.odds[day[product], links.kind] + habits.taste[product]
    return found


def learn_habits(
    pours: Pours, fills: Fills, cost: Floats, links: Links, habits: Habits
) -> tuple[Habits, Bools, Floats]:
    """One step of expectation and maximisation for each day: the habits, which pours are likelier
    fragments than not, and how much each pour gains (log likelihood) by those that may go on filling its
    vessel."""
    chain = np.stack((links.first, links.second), axis=1)
    product = pours.product[links.first]
    log_odds = log_odds_of(links, product, fills.day, habits)
    ratio = cost[chain].sum(axis=1)
    ratio -= join_cost(pours, fills, chain, log_odds, links.pace, habits)[0]
    weight = np.exp(np.clip(ratio, -50, 50))
    count = len(cost)
    rivals = 1 + np.maximum(
        np.bincount(links.first, weight, count)[links.first],
        np.bincount(links.second, weight, count)[links.second],
    )
    chance = weight / rivals
    bin_of = _division_bin(pours.volume[chain])
    fragment = (
        np.bincount(links.first, chance, count) + np.bincount(links.second, chance, count)
    ) > 0.5
    lift, spread = _lift(pours, fills, chain, chance)
    return Habits(
        _odds(links, chance, fills.day[product], habits.odds.shape),
        _taste(links, chance, product, fills.day, habits),
        _divisions(chance, links.pace, product, bin_of, fills),
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


def _lift(pours: Pours, fills: Fills, chain: Ints, chance: Floats) -> tuple[Floats, Floats]:
    """What joined glasses hold beyond others, per product, and their spread, per day."""
    product = pours.product[chain[:, 0]]
    log_volume = filled(fills, product, pours.tap[chain[:, 0]], pours.volume[chain].sum(axis=1))
    off = deviations(fills, product, log_volume)
    near = np.abs(off) < priors.FILL_BIAS_REACH
    off, weight, product = off[near], chance[near], product[near]
    belief, products, days = priors.LIFT_PRIOR, len(fills.day), len(fills.spread)
    day = fills.day[product]
    seen = np.bincount(day, weight, days) + belief
    whole = np.bincount(day, weight * off, days) / seen
    each = (np.bincount(product, weight * off, products) + belief * whole[fills.day]) / (
        np.bincount(product, weight, products) + belief
    )
    square = np.bincount(day, weight * (off - each[product]) ** 2, days) + belief * priors.LIFT_SPREAD**2
    return each, np.clip((square / seen) ** 0.5, 0.03, 0.1)


def _prior_odds() -> Floats:
    pauses = len(priors.PAUSES_S) + 1
    odds = np.repeat([priors.JOIN_LOG_ODDS, priors.INTERLEAVED_LOG_ODDS], pauses)
    return np.append(odds, priors.CARRIED_LOG_ODDS)


def _odds(links: Links, chance: Floats, day: Ints, shape: tuple[int, ...]) -> Floats:
    days, kinds = shape
    share = priors.LINK_PRIOR / (1 + np.exp(-_prior_odds()))
    code = day * kinds + links.kind
    joined = np.bincount(code, chance, days * kinds).reshape(shape) + share
    apart = np.bincount(code, 1 - chance, days * kinds).reshape(shape) + priors.LINK_PRIOR - share
    found: Floats = np.log(joined / apart)
    return found


def _taste(links: Links, chance: Floats, product: Ints, day: Ints, habits: Habits) -> Floats:
    expected = 1 / (1 + np.exp(-habits.odds[day[product], links.kind]))
    count = len(habits.taste)
    seen = np.bincount(product, chance, count) + priors.TASTE_PRIOR
    found: Floats = np.log(seen / (np.bincount(product, expected, count) + priors.TASTE_PRIOR))
    return found


def _divisions(chance: Floats, pace: Ints, product: Ints, bin_of: Ints, fills: Fills) -> Floats:
    bins, paces = len(priors.SHARES) - 1, len(priors.PACES_S) + 1
    count, seen = (
        np.bincount((pace * number + code) * bins + bin_of, chance, paces * number * bins).reshape(
            paces, number, bins
        )
        for code, number in ((product, len(fills.day)), (fills.day[product], len(fills.spread)))
    )
    usual = seen + priors.DIVISION_PRIOR * _prior_division()
    usual /= usual.sum(axis=2, keepdims=True)
    each = count + priors.DIVISION_PRIOR * usual[:, fills.day]
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
