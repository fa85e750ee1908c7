"""``tap_list``: from a keg or line change on, one tap's serves fit another product's rings.

On an ordinary day most serves of a tap have a ring of its product within a minute or so. A tap at
which few do, while rings of another beer of the outlet, of the right size, stand where its serves are
more often than chance puts them there, pours that other beer. Chance is counted with the rings moved
to other times of the same hours.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from unrung.findings.certainty import confidence, level
from unrung.findings.facts import Facts
from unrung.findings.fills import remaining
from unrung.findings.finding import Finding
from unrung.findings.statistics import binomial_tail
from unrung.findings.turned_taps import (
    CLOSE_MS,
    FEWEST,
    glasses_of,
    is_glass,
    is_turned,
    turn_of,
    weights_of,
)
from unrung.findings.wording import sum_volume, times
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.settings import Settings
from unrung.venue_time import moment

MOVES_MS = (-1_500_000, -900_000, -420_000, 420_000, 900_000, 1_500_000)
ALIKE = 0.13
POOR = 0.75
"""Of what the outlet's other taps reach: a tap whose serves fit so much worse is looked at."""
OWN = 0.01
"""Chance, below which the tap does not pour what is listed."""
CLEARLY = 0.12
"""By so much of its serves the other product must fit better than its own."""


class Fit(NamedTuple):
    """How one tap's serves of one day fit the rings of one product."""

    close: int
    chance: float
    """How many would by chance."""
    serves: int
    usual: float = 1.0
    """Share of serves whose own ring comes close at the outlet's other taps."""

    @property
    def excess(self) -> float:
        return (self.close - self.chance) / self.serves


Hit = tuple[int, Fit, Fit]
"""Day of the window on which a tap fits another product better; how it fits its own, and the other."""


@dataclass
class _Day:
    """Rings of one day by outlet, product and portion: their times, sorted."""

    at_ms: dict[tuple[str, str], dict[int, list[int]]]

    def fit(self, serves: Sequence[ServeFact], outlet: str, product: str) -> Fit:
        rings = self.at_ms.get((outlet, product), {})
        close = sum(_is_close(serve, rings, 0) for serve in serves)
        moved = sum(_is_close(serve, rings, move) for serve in serves for move in MOVES_MS)
        return Fit(close, moved / len(MOVES_MS), len(serves))


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap and product that it seems to pour."""
    days: dict[tuple[str, str], list[Hit]] = defaultdict(list)
    for number, day in enumerate(facts.window.days):
        for tap, product, own, other in day.once("strangers", None, partial(strangers, day)):
            days[tap, product].append((number, own, other))
    if not days:
        return []
    runs = {place: _last_run(hits) for place, hits in sorted(days.items())}
    listed = {tap: facts.serves[keys[-1]][:2] for tap, keys in facts.window.by_tap.items()}
    found = []
    for (tap, product), run in runs.items():
        # Two taps that changed places are one change: what each shows bears out the other.
        outlet, mine = listed[tap]
        mate = next((
            other for (one, poured), other in runs.items()
            if listed[one] == (outlet, product) and poured == mine
            and other[0][0] >= run[-1][0] and run[0][0] >= other[-1][0]
        ), [])
        made = _judge(facts, settings, tap, product, run, mate)
        found += [made] if made else []
        if made and not mate:
            found += _mates(facts, settings, made, product, run, {one for one, _ in runs}, listed)
    return found


def _mates(
    facts: Facts, settings: Settings, made: Finding, product: str, run: list[Hit], told: set[str],
    listed: Mapping[str, tuple[str, str]],
) -> list[Finding]:
    """Taps of the beer that another tap pours, where few serves stand beside their own rings on the same
    days: the two changed places, though the rings of the second alone do not show it."""
    found = []
    near = _own_share(run)
    for tap, place in listed.items():
        days = [n for n, _, _ in run if is_turned(facts, tap, n, near)]
        if tap in told or place != (made.outlet, product) or not days:
            continue
        fits = [
            _rings(facts.window.days[n]).fit(
                [s for s in facts.window.days[n].serves if s.tap == tap and is_glass(s)], place[0],
                made.product)
            for n in days
        ]
        close, serves = sum(fit.close for fit in fits), sum(fit.serves for fit in fits)
        shares = run[0][1].usual, near
        found.append(_finding(
            facts, settings, tap, made.product, (min(days), max(days)), shares, "medium", close, serves))
    return found


def _own_share(run: list[Hit]) -> float:
    """Share of a run's serves that stand beside a ring of the listed beer."""
    return sum(own.close for _, own, _ in run) / sum(own.serves for _, own, _ in run)


def strangers(day: DayFacts) -> list[tuple[str, str, Fit, Fit]]:
    """(tap, other product, fit of its own, fit of the other) of taps that fit another better."""
    glasses = glasses_of(day)
    first = {tap: day.serves[numbers[0]] for tap, (numbers, _) in glasses.items()}
    near = {tap: beside / len(own) for tap, (own, beside) in glasses.items() if len(own) >= FEWEST}
    rings: _Day | None = None
    found = []
    for tap, share in near.items():
        outlet, product = first[tap].outlet, first[tap].product
        others = {one: near[one] for one in near if first[one].outlet == outlet and one != tap}
        middle = sorted(others.values())[len(others) // 2] if others else 0.0
        if not others or share >= POOR * middle:
            continue
        fine = [one for one in others if others[one] >= POOR * middle]
        count = {one: len(glasses[one][0]) for one in fine}
        usual = sum(near[one] * count[one] for one in fine) / sum(count.values())
        rings, serves = rings or _rings(day), [day.serves[number] for number in glasses[tap][0]]
        own = rings.fit(serves, outlet, product)._replace(usual=usual)
        fits = [
            (rings.fit(serves, outlet, other), other)
            for place, other in rings.at_ms if place == outlet and other != product
        ]
        if fits:
            best, other = max(fits, key=lambda pair: (pair[0].excess, pair[1]))
            if best.excess > max(own.excess, 0) + CLEARLY:
                found.append((tap, other, own, best))
    return found


def _rings(day: DayFacts) -> _Day:
    at: dict[tuple[str, str], dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    for serve in day.serves:
        if serve.paired:
            at[serve.outlet, serve.product][serve.portion_ul].append(serve.ring_ms)
    for ring in day.rings:
        at[ring.outlet, ring.product][ring.portion_ul].append(ring.at_ms)
    return _Day({
        place: {portion: sorted(times) for portion, times in sizes.items()}
        for place, sizes in sorted(at.items())
    })


def _is_close(serve: ServeFact, rings: dict[int, list[int]], move_ms: int) -> bool:
    for portion, at in rings.items():
        if abs(serve.volume_ul - portion) <= ALIKE * portion:
            place = bisect_left(at, serve.end_ms - move_ms - CLOSE_MS)
            if place < len(at) and at[place] <= serve.end_ms - move_ms + CLOSE_MS:
                return True
    return False


def _last_run(hits: list[Hit]) -> list[Hit]:
    """The last run of days (days at rest may lie between) on which a tap fits another product, the last
    day first."""
    run = [hits[-1]]
    for hit in reversed(hits[:-1]):
        if run[-1][0] - hit[0] > 2:
            break
        run.append(hit)
    return run


def _judge(
    facts: Facts, settings: Settings, tap: str, product: str, run: list[Hit], mate: list[Hit]
) -> Finding | None:
    """A tap that fits another product more often than chance has it, with what its mate shows."""
    places = len(facts.window.by_tap) * 4
    chance = _chance([*run, *mate])
    if chance >= level(places) * 0.01 or _fits_its_own([*run, *mate]) >= OWN:
        return None
    serves = sum(fit.serves for _, _, fit in run)
    close = sum(fit.close for _, _, fit in run)
    days = [number for number, _, _ in (*run, *mate)]
    first, last = min(days), max(days)
    usual = sum(own.usual * own.serves for _, own, _ in run) / serves
    near = _own_share(run)
    while first > 0 and is_turned(facts, tap, first - 1, near):
        first -= 1
    while last + 1 < len(facts.window.days) and is_turned(facts, tap, last + 1, near):
        last += 1
    sure = confidence(chance, places)
    return _finding(facts, settings, tap, product, (first, last), (usual, near), sure, close, serves)


def _chance(hits: list[Hit]) -> float:
    serves = sum(fit.serves for _, _, fit in hits)
    share = min(0.99, sum(fit.chance for _, _, fit in hits) / serves + 1 / serves)
    return binomial_tail(sum(fit.close for _, _, fit in hits), serves, share)


def _fits_its_own(hits: list[Hit]) -> float:
    """Chance that rings of the listed product stand so rarely beside a tap that does pour it."""
    own = [fit for _, fit, _ in hits]
    serves = sum(fit.serves for fit in own)
    usual = sum(fit.chance + (fit.serves - fit.chance) * fit.usual for fit in own) / serves
    return binomial_tail(serves - sum(fit.close for fit in own), serves, 1 - min(usual, 1.0))


def _finding(
    facts: Facts, settings: Settings, tap: str, product: str, span: tuple[int, int],
    shares: tuple[float, float], sure: str, close: int, judged: int,
) -> Finding:
    days, closed = facts.window.days, facts.window.hours.is_closed
    low, until = days[span[0]].bounds[0], days[span[1]].bounds[1]
    weights = weights_of(*shares)
    start = turn_of(facts, tap, (low, days[span[0]].bounds[1]), low, weights)
    after = days[min(span[1] + 1, len(days) - 1)].bounds[1]
    end = turn_of(facts, tap, (days[span[1]].bounds[0], after), until, weights)
    keys = [
        key for key in facts.window.by_tap[tap]
        if start <= facts.serves[key].end_ms < end and not closed(facts.serves[key].end_ms)
    ]
    serves = [facts.serves[key] for key in keys]
    outlet, listed = serves[0].outlet, serves[0].product
    lone = set(facts.lone)
    # A glass that found a ring of the listed beer all the same found it by chance: it tells no portion.
    claims = {
        key: facts.serves[key].left_ul if key in lone else remaining(facts, key)
        for key in keys if key in lone or facts.serves[key].paired
    }
    rings = frozenset(
        number for number in facts.lone_rings
        if facts.rings[number].outlet == outlet and facts.rings[number].product == product
        and start <= facts.rings[number].at_ms < end
    )
    volume = sum(serve.volume_ul for serve in serves if is_glass(serve))
    evidence = (
        f"Since {moment(start, settings)} {close} of {times(judged, 'serve', settings)} at tap "
        f"{tap}, listed as "
        f"{listed}, stood beside a ring of {product}: {sum_volume(volume, settings)} poured there."
    )
    return Finding(
        "tap_list", outlet, f"Tap {tap} seems to pour {product}", evidence,
        "high" if sure == "high" else "medium", start, serves[-1].end_ms, listed, tap, claims, rings,
        total_ul=volume,
    )
