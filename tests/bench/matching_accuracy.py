"""How near the matcher comes to the truth of simulated months, beside what a practitioner does today.

    PYTHONPATH=daemon:adapters:tests python tests/bench/matching_accuracy.py --months 20 --days 30

One table a lag family: the matcher; a daily subtraction; a nearest-time join (pandas ``merge_asof``); a
greedy nearest free ring. Measured against what a perfect matcher leaves without a ring, per product and
day, before log entries and keg changes. Losses whose pours have a ring of another product
(``mis_ring``, ``tap_list``) and lost till rows (``feed_gap``) are left out of "all losses": no matcher can
see them, and the ledger and the findings handle them.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from simulator import LOSSES, SimMonth, score_pairs, simulate, to_matching, unpaired
from simulator.bridge import DayInput
from unrung.matching.match import match_day
from unrung.matching.prepare import Prepared, prepare
from unrung.matching.types import Matched, MatchSettings

UNSEEN = {"mis_ring", "tap_list", "feed_gap"}
REACH_MS = (20 * 60_000, 45 * 60_000)


@dataclass(slots=True)
class Score:
    """Sums over product-days, microlitres."""

    poured: int = 0
    error: int = 0
    called: int = 0
    rightly: int = 0
    true: int = 0
    pairs: int = 0
    right: int = 0
    inside: int = 0
    ranges: int = 0
    seconds: float = 0.0
    offsets: list[float] = field(default_factory=list)


def days_of(month: SimMonth, pool: str) -> Iterator[tuple[date, DayInput, Matched, float]]:
    """Every day of a pool with its matching and the seconds that it took."""
    settings, known = MatchSettings(), {}
    for found in month.days:
        given = to_matching(month, found.date, pool)
        began = time.process_time()
        prepared: dict[int, Prepared] = {}
        for near in month.days:
            if abs(near.index - found.index) <= 1:
                if near.index not in known:
                    lo, hi = near.start_ms, near.end_ms
                    known[near.index] = prepare(
                        [p for p in given.pours if lo <= p.end_ms < hi],
                        [u for u in given.units if lo <= u.at_ms < hi], given.sizes, (lo, hi), settings,
                    )
                prepared[near.index - found.index] = known[near.index]
        matched = match_day(prepared.get(-1), prepared[0], prepared.get(1))
        yield found.date, given, matched, time.process_time() - began


def lone_parts(month: SimMonth) -> dict[int, int]:
    """Pour to the microlitres of it that truly have no ring."""
    paired = {s.id for s in month.serves if s.unit_id is not None and not s.cause}
    return {p.id: sum(part.volume_ul for part in p.parts if part.serve_id not in paired) for p in month.pours}


def add(score: Score, est: Counter[str], true: dict[str, int], poured: Counter[str],
        rightly: int) -> None:
    score.poured += sum(poured.values())
    score.error += sum(abs(est[product] - true.get(product, 0)) for product in {*est, *true, *poured})
    score.called += sum(est.values())
    score.rightly += rightly
    score.true += sum(true.values())


def by_matcher(score: Score, month: SimMonth, matched: Matched, true: dict[str, int], poured: Counter[str],
               lone: dict[int, int]) -> None:
    est: Counter[str] = Counter()
    rightly = 0
    for serve in matched.serves:
        if serve.unit_key is None:
            est[serve.product] += serve.volume_ul
            rightly += sum(min(volume, lone[key]) for key, volume in serve.parts)
    add(score, est, true, poured, rightly)
    pairs = score_pairs(month, matched.serves)
    score.pairs += pairs.pairs
    score.right += pairs.right
    for product, (low, high) in matched.pour_not_rung_range_ul.items():
        score.ranges += 1
        score.inside += low <= true.get(product, 0) <= high


def in_day(given: DayInput, lo: int, hi: int) -> tuple[list, list]:  # type: ignore[type-arg]
    pours = sorted((p for p in given.pours if lo <= p.end_ms < hi), key=lambda p: p.end_ms)
    units = sorted((u for u in given.units if lo - REACH_MS[0] <= u.at_ms < hi + REACH_MS[1]
                    and u.voided_ms is None), key=lambda u: u.at_ms)
    return pours, units


def by_subtraction(pours: list, units: list, lo: int, hi: int) -> Counter[str]:  # type: ignore[type-arg]
    sums: Counter[str] = Counter()
    for pour in pours:
        sums[pour.product] += pour.volume_ul
    for unit in units:
        if lo <= unit.at_ms < hi:
            sums[unit.product] -= unit.portion_ul
    return Counter({product: max(0, volume) for product, volume in sums.items()})


def by_nearest(pours: list, units: list) -> set[int]:  # type: ignore[type-arg]
    """Pours that a nearest-time join leaves alone: a ring may serve several of them."""
    left = pd.DataFrame({"at": [p.end_ms for p in pours], "product": [p.product for p in pours],
                         "key": [p.key for p in pours]})
    right = pd.DataFrame({"at": [u.at_ms for u in units], "product": [u.product for u in units],
                          "ring": [u.key for u in units]}).sort_values("at")
    joined = pd.merge_asof(left, right, on="at", by="product", direction="nearest", tolerance=10 * 60_000)
    return set(joined.loc[joined.ring.isna(), "key"])


def by_greed(pours: list, units: list) -> set[int]:  # type: ignore[type-arg]
    """Pours left when each in turn takes the nearest free ring."""
    free: dict[str, list[int]] = defaultdict(list)
    for unit in units:
        free[unit.product].append(unit.at_ms)
    alone = set()
    for pour in pours:
        near = [(abs(at - pour.end_ms), n) for n, at in enumerate(free[pour.product])
                if -REACH_MS[0] <= at - pour.end_ms <= REACH_MS[1]]
        if near:
            free[pour.product].pop(min(near)[1])
        else:
            alone.add(pour.key)
    return alone


def one_month(seed: int, days: int, losses: object, family: str, scores: dict[str, Score]) -> None:
    month = simulate(seed, days=days, start=date(2026, 10, 10), losses=losses, lag_family=family)  # type: ignore[arg-type]
    lone = lone_parts(month)
    for pool in month.pools:
        for found, (day, given, matched, seconds) in zip(month.days, days_of(month, pool), strict=True):
            true = unpaired(month, day, pool)
            pours, units = in_day(given, found.start_ms, found.end_ms)
            poured: Counter[str] = Counter()
            for pour in pours:
                poured[pour.product] += pour.volume_ul
            scores["matcher"].seconds += seconds
            by_matcher(scores["matcher"], month, matched, true, poured, lone)
            add(scores["subtraction"], by_subtraction(pours, units, found.start_ms, found.end_ms), true,
                poured, 0)
            lonely = {"nearest join": by_nearest(pours, units), "greedy": by_greed(pours, units)}
            for name, alone in lonely.items():
                est: Counter[str] = Counter()
                for pour in pours:
                    if pour.key in alone:
                        est[pour.product] += pour.volume_ul
                add(scores[name], est, true, poured,
                    sum(min(p.volume_ul, lone[p.key]) for p in pours if p.key in alone))


def shown(name: str, one: Score) -> str:
    share = f"{100 * one.rightly / one.called:6.1f}%{100 * one.rightly / one.true:8.1f}%" if (
        one.called and one.rightly) else f"{'':>15}"
    pairs = f"{100 * one.right / one.pairs:7.1f}%" if one.pairs else f"{'':>8}"
    inside = f"{100 * one.inside / one.ranges:7.1f}%" if one.ranges else ""
    error, called = 100 * one.error / one.poured, 100 * one.called / one.poured
    return f"{name:<14}{error:8.2f}%{called:8.2f}%{share}{pairs}{inside}"


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--months", type=int, default=20)
    ask.add_argument("--days", type=int, default=30)
    ask.add_argument("--seed", type=int, default=9000, help="first of the held-out seeds")
    asked = ask.parse_args()
    every = {name: 1.0 for name in LOSSES if name not in UNSEEN}
    for family in ("counter_table", "second"):
        for title, losses in (("all losses", every), ("clean", "none")):
            scores = {name: Score() for name in ("matcher", "subtraction", "nearest join", "greedy")}
            for n in range(asked.months):
                one_month(asked.seed + n, asked.days, losses, family, scores)
            print(f"\n{family}, {title}: {asked.months} months of {asked.days} days")
            print(f"{'':<14}{'error':>9}{'called':>9}{'rightly':>7}{'found':>9}{'pairs':>8}{'in range':>9}")
            for name, one in scores.items():
                print(shown(name, one))
            print(f"matcher: {scores['matcher'].seconds:.1f} s CPU, peak "
                  f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB", flush=True)


if __name__ == "__main__":
    main()
