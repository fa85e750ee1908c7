"""From pours to serves: fragments joined and long pours split, by likelihood.

On each tap (and product) the cheapest way to cut the day's pours into serves is found by dynamic
programming. A serve is one pour, up to ``MAX_FRAGMENTS`` consecutive ones, or one of several
glasses that a single long pour filled. Costs are negative log densities over the pours' volumes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints, Pours
from unrung.matching.fills import Fills, odd_density, sized_density


@dataclass(frozen=True, slots=True)
class Serves:
    """Serves sorted by product, end, start, tap, volume.

    Part ``k`` of serve ``i`` is ``part_key[first[i] + k]`` with ``part_ul[first[i] + k]``.
    """

    product: Ints
    tap: Ints
    start: Ints
    end: Ints
    volume: Ints
    first: Ints
    part_key: Ints
    part_ul: Ints


@dataclass(frozen=True, slots=True)
class Cut:
    """How pours become serves: spans of pours, and glasses within single pours."""

    begin: Ints
    """Index of the first pour of each span."""
    until: Ints
    """One past its last."""
    glasses: dict[int, tuple[float, ...]]
    """Sizes of the glasses that a pour filled, where it filled several."""


def build_serves(pours: Pours, fills: Fills, top_up_gap_ms: int, lo_ms: int) -> Serves:
    """All serves of the day; none ends before ``lo_ms``."""
    return _assemble(pours, cut(pours, fills, top_up_gap_ms), lo_ms)


def cut(pours: Pours, fills: Fills, top_up_gap_ms: int) -> Cut:
    """The likeliest cut of the pours into serves."""
    single = single_costs(pours, fills)
    glasses, split = split_costs(pours, fills, single)
    cost = np.minimum(single, split)
    joins = join_costs(pours, fills, cost, top_up_gap_ms)
    begin, until = _choose(cost, joins)
    alone = until - begin == 1
    several = {at: glasses[at] for at in begin[alone].tolist() if split[at] < single[at]}
    return Cut(begin, until, several)


def single_costs(pours: Pours, fills: Fills) -> Floats:
    """Cost of each pour as one serve."""
    log_volume = np.log(np.maximum(pours.volume, 1))
    return -np.log(
        sized_density(fills, pours.product, log_volume)
        + odd_density(fills, pours.product, log_volume)
    )


def split_costs(
    pours: Pours, fills: Fills, single: Floats
) -> tuple[dict[int, tuple[float, ...]], Floats]:
    """The best several glasses for each long pour, and what they cost (``inf`` if none)."""
    cost = np.full(len(single), np.inf)
    glasses: dict[int, tuple[float, ...]] = {}
    held = np.exp(fills.centre)
    least = np.nanmin(np.where(np.isnan(held), np.inf, held), axis=1, initial=np.inf)
    fits = sized_density(fills, pours.product, np.log(np.maximum(pours.volume, 1)))
    long = (pours.volume > 1.5 * least[pours.product]) & (fits < 1.0)
    for code in np.unique(pours.product[long]).tolist():
        at = np.flatnonzero(long & (pours.product == code))
        combos, base = _combinations(fills, code)
        each = _split_fit(pours.volume[at].astype(float), combos, base)
        best = np.argmin(each, axis=1)
        cost[at] = each[np.arange(len(at)), best]
        glasses.update({i: combos[b] for i, b in zip(at.tolist(), best.tolist(), strict=True)})
    return glasses, cost


def join_costs(
    pours: Pours, fills: Fills, cost: Floats, top_up_gap_ms: int
) -> list[tuple[int, int, float]]:
    """Runs of pours (first, one past last, cost) that are cheaper as one serve than apart."""
    log_odds = _join_log_odds(pours, top_up_gap_ms)
    total, apart = np.concatenate(([0], np.cumsum(pours.volume))), np.concatenate(([0.0], np.cumsum(cost)))
    log_volume = np.log(np.maximum(pours.volume, 1))
    logs = np.concatenate(([0.0], np.cumsum(log_volume)))
    odds = np.concatenate(([0.0], np.cumsum(np.where(np.isfinite(log_odds), log_odds, -1e6))))
    found: list[tuple[int, int, float]] = []
    for count in range(2, priors.MAX_FRAGMENTS + 1):
        begin = np.arange(max(len(cost) - count + 1, 0))
        until = begin + count
        chain = odds[until] - odds[begin + 1]
        begin, until, chain = begin[chain > -1e5], until[chain > -1e5], chain[chain > -1e5]
        volume = np.log(np.maximum(total[until] - total[begin], 1))
        shape = logs[until] - logs[begin] - count * volume + _division(pours, begin, until, volume)
        with np.errstate(divide="ignore"):
            fit = np.log(sized_density(fills, pours.product[begin], volume))
        joined = -(fit + shape + chain)
        better = joined < apart[until] - apart[begin]
        found += zip(
            begin[better].tolist(), until[better].tolist(), joined[better].tolist(), strict=True
        )
    return found


def _join_log_odds(pours: Pours, top_up_gap_ms: int) -> Floats:
    """Log odds that each pour goes on filling the vessel of the one before it."""
    odds = np.full(len(pours.key), -np.inf)
    if len(odds) < 2:
        return odds
    gap_ms = pours.start[1:] - pours.end[:-1]
    same = (pours.tap[1:] == pours.tap[:-1]) & (pours.product[1:] == pours.product[:-1])
    near = same & (gap_ms <= top_up_gap_ms) & (gap_ms >= -1_000 * priors.OVERLAP_S)
    pause_s = np.maximum(gap_ms, 0) / 1_000
    odds[1:] = np.where(near, priors.JOIN_LOG_ODDS - pause_s / priors.JOIN_DECAY_S, -np.inf)
    return odds


def _division(pours: Pours, begin: Ints, until: Ints, log_total: Floats) -> Floats:
    """Log density of how the vessel's volume divides over its fragments."""
    if not len(begin) or until[0] - begin[0] != 2:
        count = int(until[0] - begin[0]) if len(begin) else 2
        return np.full(len(begin), lgamma(count))
    second = np.maximum(pours.volume[begin + 1], 1) / np.exp(log_total)
    rate, share = priors.TOP_UP_RATE, priors.TOP_UP_SHARE
    return np.log(share * rate * np.exp(-rate * second) / (1 - np.exp(-rate)) + 1 - share)


def _choose(cost: Floats, joins: list[tuple[int, int, float]]) -> tuple[Ints, Ints]:
    """The cheapest chain of singles and joins. Only clusters of overlapping joins need a search;
    elsewhere every pour stands alone."""
    count = len(cost)
    owner = np.arange(count)
    joins = sorted(joins)
    at = 0
    while at < len(joins):
        stop, last = joins[at][1], at + 1
        while last < len(joins) and joins[last][0] < stop:
            stop, last = max(stop, joins[last][1]), last + 1
        for begin, until in _cheapest_chain(joins[at][0], stop, cost, joins[at:last]):
            owner[begin:until] = begin
        at = last
    begins = np.flatnonzero(owner == np.arange(count))
    return begins, np.append(begins[1:], count)


def _cheapest_chain(
    begin: int, stop: int, cost: Floats, joins: list[tuple[int, int, float]]
) -> list[tuple[int, int]]:
    best = [0.0] * (stop - begin + 1)
    came = [0] * (stop - begin + 1)
    ending: dict[int, list[tuple[int, float]]] = {}
    for first, until, price in joins:
        ending.setdefault(until, []).append((first, price))
    for at in range(begin + 1, stop + 1):
        options = [(best[at - 1 - begin] + float(cost[at - 1]), at - 1)]
        options += [(best[first - begin] + price, first) for first, price in ending.get(at, ())]
        best[at - begin], came[at - begin] = min(options, key=lambda option: (option[0], -option[1]))
    chain, at = [], stop
    while at > begin:
        chain.append((came[at - begin], at))
        at = came[at - begin]
    return chain[::-1]


def _combinations(fills: Fills, product: int) -> tuple[list[tuple[float, ...]], Floats]:
    """Every handful of 2 or more glasses, and the log of how usual it is."""
    known = np.flatnonzero(fills.share[product] > 0)
    held, share = np.exp(fills.centre[product, known]), fills.share[product, known]
    combos: list[tuple[float, ...]] = []
    base: list[float] = []
    for extra, log_odds in enumerate(priors.SPLIT_LOG_ODDS):
        for picked in combinations_with_replacement(range(len(known)), extra + 2):
            combos.append(tuple(float(held[k]) for k in picked))
            base.append(log_odds + _log_multinomial(picked, share))
    return combos, np.array(base)


def _log_multinomial(picked: tuple[int, ...], share: Floats) -> float:
    """Log probability of drawing these sizes, in any order."""
    chance = lgamma(len(picked) + 1) + float(np.log(share[list(picked)]).sum())
    return chance - sum(lgamma(picked.count(k) + 1) for k in set(picked))


def _split_fit(volume: Floats, combos: list[tuple[float, ...]], base: Floats) -> Floats:
    """Cost of every volume (rows) as every handful of glasses (columns)."""
    total = np.array([sum(combo) for combo in combos])
    spread = priors.FILL_SPREAD * 1.3 * np.sqrt([sum(s * s for s in combo) for combo in combos]) / total
    off = np.log(volume[:, None] / total) / spread
    return 0.5 * off**2 + np.log(spread * np.sqrt(2 * np.pi)) - base


def _assemble(pours: Pours, chosen: Cut, lo_ms: int) -> Serves:
    """Serves from the cut, with every microlitre of every pour in exactly one part."""
    begin, until = chosen.begin, chosen.until
    total = np.concatenate(([0], np.cumsum(pours.volume)))
    several = np.array(sorted(chosen.glasses), np.int64)
    whole = ~np.isin(begin, several) | (until - begin > 1)
    begin, until = begin[whole], until[whole]
    s_index, s_start, s_end, s_volume = _glasses(pours, chosen.glasses, lo_ms)
    lead = np.concatenate((begin, s_index))
    start = np.concatenate((pours.start[begin], s_start))
    end = np.concatenate((_last_end(pours, begin, until), s_end))
    volume = np.concatenate((total[until] - total[begin], s_volume))
    count = np.concatenate((until - begin, np.ones(len(s_index), np.int64)))
    order = np.lexsort(
        (pours.key[lead], volume, pours.tap[lead], start, end, pours.product[lead])
    )
    lead, count, volume = lead[order], count[order], volume[order]
    first = np.concatenate(([0], np.cumsum(count)))
    part = np.repeat(lead, count) + np.arange(first[-1]) - np.repeat(first[:-1], count)
    part_ul = pours.volume[part]
    lone = first[:-1][count == 1]
    part_ul[lone] = volume[count == 1]
    return Serves(
        pours.product[lead], pours.tap[lead], start[order], end[order], volume, first,
        pours.key[part], part_ul,
    )


def _last_end(pours: Pours, begin: Ints, until: Ints) -> Ints:
    end = pours.end[until - 1]
    for at in np.flatnonzero(until - begin > 1).tolist():
        end[at] = pours.end[begin[at] : until[at]].max()
    return end


def _glasses(
    pours: Pours, glasses: dict[int, tuple[float, ...]], lo_ms: int
) -> tuple[Ints, Ints, Ints, Ints]:
    """Index of the pour, start, end and volume of each glass of the split pours."""
    rows: list[tuple[int, int, int, int]] = []
    for at, held in sorted(glasses.items()):
        start, end = int(pours.start[at]), int(pours.end[at])
        volume, total, filled, done = int(pours.volume[at]), sum(held), 0.0, 0
        for size in held:
            begun = start + int((end - start) * filled / total)
            filled += size
            last = abs(filled - total) < 1e-6 * total
            upto = volume if last else int(volume * filled / total)
            over = end if last else start + int((end - start) * filled / total)
            rows.append((at, begun, max(over, lo_ms), upto - done))
            done = upto
    table = np.array(rows, np.int64).reshape(-1, 4)
    return table[:, 0], table[:, 1], table[:, 2], table[:, 3]
