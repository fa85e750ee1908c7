"""``serves_without_ring``: full-size serves with no ring found, and when they cluster.

What nothing else explains. A serve and a ring of the same beer and size that stayed alone on the same
day are one drink rung very early or late, and are set against each other first. By number and by volume
what stayed alone on the pouring side must outweigh what stayed alone on the ringing side, whatever the
beer: a swapped line or a wrong button leaves as much on either. A glass counts, too, of which a log
entry or a keg change explains less than half: those explain by volume, and where the glass that was
written down and one that nobody rang stand side by side, both are left in parts.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial

from unrung.by_locale import time_text
from unrung.findings.certainty import confidence, level
from unrung.findings.clusters import cluster_of
from unrung.findings.facts import DAYS, Facts
from unrung.findings.finding import Finding
from unrung.findings.keg_change_loss import run_after
from unrung.findings.of_a_day import columns, leaving
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
LEAST_SHARE = 0.005
"""Below this share of an outlet's glasses it is not worth a talk (common practice, no source)."""
ROUND_MS = 120_000
"""Serves at one tap this close together are one event of a beer's evening: one round, one check."""
FAR_MORE, SMALL_DAY = 1.5, 20
"""One beer's evening stands out from so many times the share of its worst other day (of at least so many
serves)."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    lone: dict[str, list[int]] = defaultdict(list)
    silent, run_off = _silences(facts), _run_off(facts, settings)
    taken, serves, apart = facts.taken, facts.serves, _second_goes(facts)
    for key in facts.window.keys_of("unrung", partial(_unrung, facts.window.portions), settings):
        if key in taken or key in apart:
            continue
        outlet = serves[key].outlet
        if outlet not in silent or not covers(silent[outlet], serves[key].end_ms):
            lone[outlet].append(key)
    alone: dict[str, list[int]] = defaultdict(list)
    for number in facts.lone_rings:
        alone[facts.rings[number].outlet].append(number)
    served = _glasses(facts)
    late = _rung_late(facts, [key for keys in lone.values() for key in keys])
    found = []
    for outlet, keys in sorted(lone.items()):
        rings = alone[outlet]
        firm = [key for key in keys if key not in run_off]
        chance = binomial_tail(len(firm), len(firm) + len(rings), 0.5)
        left = [key for key in keys if key not in late]
        more = len(firm) - len(rings)
        # The exact lower limit of their number is at least as much: the test dual to it.
        surely = poisson_tail(more, LEAST_SHARE * served[outlet]) <= level(len(served)) / 2
        if more >= FEWEST and surely and chance < SURELY * level(len(served)):
            volume = sum(facts.serves[key].left_ul for key in keys) - sum(
                facts.rings[number].portion_ul for number in rings)
            found.append(
                _finding(facts, settings, outlet, left, max(0, volume), served[outlet], chance, len(served)))
        else:
            left = [key for key in left if key not in run_off]
            found += _one_beer_today(facts, settings, left, len(left) / served[outlet])
    return found


def _unrung(portions: Mapping[str, Sequence[int]], day: DayFacts) -> list[int]:
    """Numbers of the day's full serves of which at least half is without a ring."""
    left_ul, volume_ul, serves = columns(day).left_ul, columns(day).volume_ul, day.serves
    return [
        number for number in day.once("leaving", None, partial(leaving, day))
        if 2 * left_ul[number] >= volume_ul[number] and is_full(serves[number], portions)
    ]


def _glasses(facts: Facts) -> Counter[str]:
    """How many glasses each outlet served: drips, foam and rinses that other findings explain are none."""
    return facts.window.paired + Counter([facts.serves[key].outlet for key in facts.lone])


def _second_goes(facts: Facts) -> set[int]:
    """Small glasses that are rather the rest of the larger one beside them."""
    return {
        key for key, glass in facts.window.pieces.items()
        if 2 * facts.serves[key].volume_ul < facts.serves[glass].volume_ul
    }


def _run_off(facts: Facts, settings: Settings) -> set[int]:
    """Serves right after a keg went on: run off, or glasses of a queue that cannot be told from it. They
    do not speak for a finding, and count where one is made without them."""
    return {
        key for tap, moments in facts.window.kegs_on.items() if tap in facts.window.by_tap
        for at_ms in moments for key in run_after(facts, settings, tap, at_ms)[0]
    }


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
    return Counter(zip(columns(day).outlet, columns(day).product, strict=True))


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
    unanswered = list(facts.lone_rings)
    if not unanswered:
        return set()
    days = [day.bounds[0] for day in facts.window.days]
    free: dict[tuple[int, str, str], list[int]] = defaultdict(list)
    for key in lone:
        serve = facts.serves[key]
        free[_day(days, serve.end_ms), serve.outlet, serve.product].append(key)
    late: set[int] = set()
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
    facts: Facts, settings: Settings, outlet: str, keys: list[int], volume: int, served: int,
    chance: float, places: int,
) -> Finding:
    """``volume``: of all serves without a ring, less that of the rings without a serve."""
    serves = [facts.serves[key] for key in keys]
    cluster = cluster_of(facts, settings, outlet, keys)
    evidence = (
        f"{times(len(keys), 'full serve', settings)} without a ring at {outlet} since "
        f"{moment(serves[0].start_ms, settings)}, {share(len(keys) / served, settings)} of its serves: "
        f"{sum_volume(volume, settings)}."
    )
    voided = sum(serve.voided for serve in serves)
    if voided:
        evidence += f" {times(voided, 'ring', settings)} was voided after the pour." if voided == 1 else (
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
        serves={key: facts.serves[key].left_ul for key in keys}, total_ul=volume,
    )


def _nights(facts: Facts, settings: Settings, keys: list[int]) -> str:
    """Business days with more of them than a chart of counts lets pass, in words."""
    per_day, days = facts.window.per_day(keys), facts.window.days
    limit = counts(per_day).high
    loud = [at for at, count in enumerate(per_day) if count > limit]
    if not loud:
        return ""
    named = (f"{day_name(days[at].day, settings)} ({per_day[at]})" for at in loud)
    return f" Out of proportion: {', '.join(named)}."


def _oclock(hour: int, settings: Settings) -> str:
    return time_text(datetime(2000, 1, 1, hour % 24, tzinfo=UTC), settings.venue.locale)
