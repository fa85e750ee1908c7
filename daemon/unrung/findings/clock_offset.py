"""``clock_offset``: the clocks of till and meters differ, or one of them was changed.

Each outlet's daily offset is an individuals chart about the middle of its own days: a day stands out
from ``LEAST_MS`` on, where it is also beyond what the offset wanders by itself and what chance may do to
it on one day, as where half of the rounds are rung long before they are poured and half long after. A
venue whose clocks differ from its first day on is told from ``FAR_MS`` on, since the usual lag between
pour and ring looks like an offset too.
"""

from __future__ import annotations

from collections import defaultdict
from statistics import median

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.ledger.facts import ClockFact
from unrung.settings import Settings
from unrung.venue_time import moment

LEAST_MS, LEAST_OF_FEW_MS, MANY_PAIRS = 60_000, 90_000, 150
"""A day with fewer pairs than that knows its offset less well."""
FAR_MS = 180_000
SIGMAS = 5.0
MAD_TO_SIGMA = 1.4826
"""Of a normal law, sigma over the median absolute deviation."""
FEWEST_PAIRS = 25
FEWEST_DAYS = 3


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool whose clock is off on the last day."""
    days: dict[str, list[tuple[int, ClockFact]]] = defaultdict(list)
    for day in facts.window.days:
        for clock in day.clocks:
            if clock.pairs >= FEWEST_PAIRS:
                days[clock.outlet].append((day.bounds[0], clock))
    found = []
    for outlet, clocks in sorted(days.items()):
        made = _judge(facts, settings, outlet, clocks)
        found += [made] if made else []
    return found


def _judge(
    facts: Facts, settings: Settings, outlet: str, clocks: list[tuple[int, ClockFact]]
) -> Finding | None:
    start, last = clocks[-1]
    if start != facts.day.bounds[0]:
        return None
    offsets = [clock.offset_ms for _, clock in clocks]
    if settings.matching.clock_offset_seconds is not None or len(offsets) <= FEWEST_DAYS:
        usual, reach = 0.0, float(FAR_MS)
    else:
        usual = median(offsets)
        reach = SIGMAS * MAD_TO_SIGMA * median(abs(offset - usual) for offset in offsets)
    if abs(usual) >= FAR_MS:
        usual = 0.0
    limit = max(LEAST_MS if last.pairs >= MANY_PAIRS else LEAST_OF_FEW_MS, reach, last.doubt_ms)
    ends = [last.offset_ms, last.offset_ms + last.jump_ms]
    if min(map(abs, (end - usual for end in ends))) < limit:
        return None
    first = len(clocks)
    while first and abs(offsets[first - 1] - usual) >= limit:
        first -= 1
    since = clocks[min(first, len(clocks) - 1)][0]
    return _finding(facts, settings, outlet, round((last.offset_ms - usual) / 1000), since, usual)


def _finding(
    facts: Facts, settings: Settings, outlet: str, seconds: int, since_ms: int, usual: float
) -> Finding:
    ahead = "ahead of" if seconds > 0 else "behind"
    evidence = (
        f"Since {moment(since_ms, settings)} the till's clock at {outlet} runs {abs(seconds)} s {ahead} "
        f"where it usually stands against the meters ({round(usual / 1000):+d} s, the usual lag "
        f"included). Matching allows for it; the times in reports do not.{_an_hour(seconds)}"
    )
    return Finding(
        "clock_offset", outlet, f"Clocks {abs(seconds)} s apart", evidence, "high",
        since_ms, facts.day.bounds[1], standing=True,
    )


def _an_hour(seconds: int) -> str:
    """What a difference of about a whole hour suggests."""
    hours = round(abs(seconds) / 3600)
    if not hours or abs(abs(seconds) - 3600 * hours) > FAR_MS // 1000:
        return ""
    return (
        " That is a whole hour: was a change of clocks missed, or the till set to another time zone? Then "
        "set it right, or formats.zone of its feed in venue.toml."
    )
