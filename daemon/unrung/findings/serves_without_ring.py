"""``serves_without_ring``: full-size serves with no ring found, and when they cluster.

What nothing else explains. A serve and a ring of the same beer and size that stayed alone on the same
day are one drink rung very early or late, and are set against each other first; what is left on the
pouring side must outweigh what is left on the ringing side by more than chance.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import NamedTuple
from zoneinfo import ZoneInfo

from unrung.by_locale import time_text
from unrung.findings.certainty import confidence, level
from unrung.findings.facts import DAYS, Facts
from unrung.findings.finding import Finding
from unrung.findings.statistics import binomial_tail, counts, poisson_tail
from unrung.findings.wording import share, sum_volume, times
from unrung.ledger.coverage import Span, covers, union
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.settings import Settings
from unrung.venue_time import clock, day_name, moment

ALIKE = 0.13
"""A full serve is this near to one of its product's portions, and fits a ring this near."""
ANY_SIZE, NEAR_MS = 1.0, 60 * 60_000
DAY_MS = 25 * 3_600_000
SURELY = 0.02
"""Of the usual level: glasses and rings that missed each other come in swarms, not one by one."""
FEWEST, FEWEST_TODAY = 6, 5
LEAST_SHARE, CLUSTERED = 0.01, 0.005
"""Below this share of an outlet's serves it is not worth a talk; less is where they cluster in hours."""
HOURS = (1, 2, 3, 4)
ROUND_MS = 120_000
"""Serves at one tap this close together are one event of a beer's evening: one round, one check."""
FAR_MORE, SMALL_DAY = 1.5, 20
"""One beer's evening stands out from so many times the share of its worst other day (of at least so many
serves)."""


class Cluster(NamedTuple):
    """Hours of the day in which serves without a ring are most out of proportion."""

    first_hour: int
    hours: int
    serves: int
    expected: float
    chance: float


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    lone: dict[str, list[int]] = defaultdict(list)
    silent = _silences(facts)
    for key in facts.lone:
        serve = facts.serves[key]
        whole = serve.left_ul == serve.volume_ul and is_full(serve, facts.window.portions)
        if whole and not covers(silent.get(serve.outlet, []), serve.end_ms):
            lone[serve.outlet].append(key)
    alone = Counter(facts.rings[key].outlet for key in facts.lone_rings)
    served = facts.window.served
    late = _rung_late(facts, [key for keys in lone.values() for key in keys])
    found = []
    for outlet, keys in sorted(lone.items()):
        chance = binomial_tail(len(keys), len(keys) + alone[outlet], 0.5)
        left = [key for key in keys if key not in late]
        cluster = _cluster(facts, settings, outlet, left)
        least = CLUSTERED if cluster else LEAST_SHARE
        # The exact lower limit of their number is at least as much: the test dual to it.
        surely = poisson_tail(len(left), least * served[outlet]) <= level(len(served)) / 2
        worth = len(left) >= FEWEST and surely
        if worth and chance < SURELY * level(len(served)):
            found.append(_finding(facts, settings, outlet, left, cluster, chance, len(served)))
        else:
            found += _one_beer_today(facts, settings, left, len(left) / served[outlet])
    return found


def _silences(facts: Facts) -> dict[str, list[Span]]:
    """When a till of each outlet or pool wrote nothing: its serves may have been rung there."""
    found: dict[str, list[Span]] = defaultdict(list)
    for day in facts.window.days:
        for gap in day.silences:
            if gap.side == "rings" and gap.outlet:
                found[facts.window.group_of.get(gap.outlet, gap.outlet)].append((gap.from_ms, gap.to_ms))
    return {outlet: union(spans) for outlet, spans in found.items()}


def _one_beer_today(
    facts: Facts, settings: Settings, left: list[int], usual: float
) -> Iterator[Finding]:
    """A beer with far more of them on the last day than its serves would usually leave, and than any other
    day has left. Every day is another look: the chance is shared out over the month's days as well."""
    today, _ = facts.window.today
    shares, net = _beer_shares(facts, left), _net_today(facts)
    poured = Counter((serve.outlet, serve.product) for serve in facts.day.serves)
    by_beer: dict[tuple[str, str], list[int]] = defaultdict(list)
    for key in left:
        if key in today:
            by_beer[facts.serves[key].outlet, facts.serves[key].product].append(key)
    for (outlet, product), keys in sorted(by_beer.items()):
        expected = max(LEAST_SHARE, usual) * poured[outlet, product]
        count = min(_rounds(facts, keys), net[outlet, product])
        chance = poisson_tail(count, expected)
        far = count >= FAR_MORE * shares.get((outlet, product), 0.0) * poured[outlet, product]
        if count >= FEWEST_TODAY and far and chance < level(len(poured) * DAYS):
            serves = [facts.serves[key] for key in keys]
            evidence = (
                f"{len(keys)} of {poured[outlet, product]} serves of {product} at {outlet} have no ring, "
                f"from {moment(serves[0].start_ms, settings)} to {clock(serves[-1].end_ms, settings)}: "
                f"{sum_volume(sum(serve.left_ul for serve in serves), settings)}."
            )
            yield Finding(
                "serves_without_ring", outlet, f"{product} without a ring", evidence, "medium",
                serves[0].start_ms, serves[-1].end_ms, product,
                serves={key: facts.serves[key].left_ul for key in keys},
            )


def _rounds(facts: Facts, keys: Sequence[int]) -> int:
    """Events among serves: those of one round come, and miss their rings, together."""
    ended: dict[str, int] = {}
    count = 0
    for key in keys:
        serve = facts.serves[key]
        count += serve.start_ms - ended.get(serve.tap, -(1 << 40)) > ROUND_MS
        ended[serve.tap] = serve.end_ms
    return count


def _net_today(facts: Facts) -> Counter[tuple[str, str]]:
    """By how many each beer's serves without a ring outnumber its rings without a serve on the last day,
    whatever explains either: serves and rings of one beer that miss each other in numbers were not lost."""
    serves, rings = facts.window.today
    net = Counter(
        (facts.serves[key].outlet, facts.serves[key].product) for key in facts.window.leaving
        if key in serves and is_full(facts.serves[key], facts.window.portions)
    )
    net.subtract(
        (facts.rings[key].outlet, facts.rings[key].product) for key in rings if facts.rings[key].counted
    )
    return net


def _beer_shares(facts: Facts, left: Sequence[int]) -> dict[tuple[str, str], float]:
    """Each beer's largest share of serves without a ring on a day before the last, small days left out."""
    alone = Counter(
        (facts.window.day_of(key), facts.serves[key].outlet, facts.serves[key].product) for key in left
    )
    found: dict[tuple[str, str], float] = defaultdict(float)
    for number, day in enumerate(facts.window.days[:-1]):
        for (outlet, product), count in day.once("beers", None, partial(_beers, day)).items():
            if count >= SMALL_DAY:
                share_then = alone[number, outlet, product] / count
                found[outlet, product] = max(found[outlet, product], share_then)
    return found


def _beers(day: DayFacts) -> Counter[tuple[str, str]]:
    return Counter((serve.outlet, serve.product) for serve in day.serves)


def is_full(serve: ServeFact, portions: Mapping[str, Sequence[int]]) -> bool:
    """Whether a serve holds about what some size of its product does: odd volumes are pieces, and so are
    several small goes of which none fills half of it."""
    if len(serve.parts) > 1 and 2 * max(volume_ul for _, _, volume_ul in serve.parts) < serve.volume_ul:
        return False
    return any(
        abs(serve.volume_ul - portion) <= ALIKE * portion for portion in portions.get(serve.product, ())
    )


def _rung_late(facts: Facts, lone: list[int]) -> set[int]:
    """Serves that a lone ring of the same beer, size and day may have been meant for, the nearest; then
    those near a lone ring of the same beer whatever its size."""
    days = [day.bounds[0] for day in facts.window.days]
    free: dict[tuple[int, str, str], list[int]] = defaultdict(list)
    for key in lone:
        serve = facts.serves[key]
        free[_day(days, serve.end_ms), serve.outlet, serve.product].append(key)
    late: set[int] = set()
    unanswered = list(facts.lone_rings)
    for alike, within_ms in ((ALIKE, DAY_MS), (ANY_SIZE, NEAR_MS)):
        for number in tuple(unanswered):
            ring = facts.rings[number]
            fits = [
                key for key in free[_day(days, ring.at_ms), ring.outlet, ring.product]
                if key not in late and abs(facts.serves[key].end_ms - ring.at_ms) <= within_ms
                and abs(facts.serves[key].volume_ul - ring.portion_ul) <= alike * ring.portion_ul
            ]
            if fits:
                late.add(min(fits, key=lambda key: (abs(facts.serves[key].end_ms - ring.at_ms), key)))
                unanswered.remove(number)
    return late


def _day(starts: list[int], at_ms: int) -> int:
    return bisect_right(starts, at_ms)


def _finding(
    facts: Facts, settings: Settings, outlet: str, keys: list[int], cluster: Cluster | None,
    chance: float, places: int,
) -> Finding:
    serves = [facts.serves[key] for key in keys]
    volume = sum(serve.left_ul for serve in serves)
    all_served = facts.window.served[outlet]
    evidence = (
        f"{times(len(keys), 'full serve')} without a ring at {outlet} since "
        f"{moment(serves[0].start_ms, settings)}, {share(len(keys) / all_served, settings)} of its serves: "
        f"{sum_volume(volume, settings)}."
    )
    voided = sum(serve.voided for serve in serves)
    if voided:
        evidence += f" {times(voided, 'ring')} was voided after the pour." if voided == 1 else (
            f" {voided} rings were voided after the pour.")
    evidence += _nights(facts, settings, keys)
    if cluster:
        evidence += (
            f" {cluster.serves} of them between {_oclock(cluster.first_hour, settings)} and "
            f"{_oclock(cluster.first_hour + cluster.hours, settings)}, where its trade would give "
            f"{cluster.expected:.0f}."
        )
    return Finding(
        "serves_without_ring", outlet, "Serves without a ring", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms,
        serves={key: facts.serves[key].left_ul for key in keys},
    )


def _nights(facts: Facts, settings: Settings, keys: list[int]) -> str:
    """Business days with more of them than a chart of counts lets pass, in words."""
    per_day = Counter(facts.window.day_of(key) for key in keys)
    days = facts.window.days
    limit = counts([per_day[at] for at in range(len(days))]).high
    loud = [at for at in sorted(per_day) if per_day[at] > limit]
    if not loud:
        return ""
    named = (f"{day_name(days[at].day, settings)} ({per_day[at]})" for at in loud)
    return f" Out of proportion: {', '.join(named)}."


def _cluster(facts: Facts, settings: Settings, outlet: str, keys: list[int]) -> Cluster | None:
    """The hours least likely by chance, against the outlet's own trade at those hours, if any are clear
    of it."""
    zone = ZoneInfo(settings.venue.timezone)
    lone = Counter(_hour(facts.serves[key].end_ms, zone) for key in keys)
    trade: Counter[int] = Counter()
    for day in facts.window.days:
        hours_of = day.once(f"trade {zone.key}", None, partial(_trade, day, zone))
        trade.update({hour: count for (place, hour), count in hours_of.items() if place == outlet})
    total = sum(trade.values())
    clusters = []
    for first in range(24):
        for hours in HOURS:
            span = [(first + nth) % 24 for nth in range(hours)]
            count = sum(lone[hour] for hour in span)
            expected = len(keys) * sum(trade[hour] for hour in span) / total
            if count > expected:
                clusters.append(Cluster(first, hours, count, expected, poisson_tail(count, expected)))
    clearest = min(clusters, key=lambda one: (one.chance, one.first_hour, one.hours), default=None)
    return clearest if clearest and clearest.chance < level(24 * len(HOURS)) else None


def _trade(day: DayFacts, zone: ZoneInfo) -> Counter[tuple[str, int]]:
    """A day's serves by outlet and local hour."""
    return Counter((serve.outlet, _hour(serve.end_ms, zone)) for serve in day.serves)


def _oclock(hour: int, settings: Settings) -> str:
    return time_text(datetime(2000, 1, 1, hour % 24, tzinfo=UTC), settings.venue.locale)


def _hour(at_ms: int, zone: ZoneInfo) -> int:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).hour
