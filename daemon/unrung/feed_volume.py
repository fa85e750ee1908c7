"""A day on which one side brought far fewer or far more rows for the other side's than it ever does.

Half a till's export, or one that came twice under new ids, looks like a great loss or a great gain. A quiet
Monday or a holiday has fewer rows on both sides, so only their proportion is judged, by the median of the
last weeks and its spread.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from math import exp, log
from statistics import median
from typing import NamedTuple

from unrung.by_locale import number_text
from unrung.daybook import bounds_of
from unrung.settings import Settings
from unrung.store.movements import count_between, pours_of_taps
from unrung.store.open import Store
from unrung.store.overview import file_of_day
from unrung.venue_time import day_name

DAYS = 28
FEWEST_DAYS = 10
FEWEST_ROWS = 60
"""Of either side; what fewer rows come to is chance."""
FACTOR = 2.5
"""The least that counts as far off: no venue rings twice and a half as much of its beer one day."""
SIGMAS = 6.0
LEAST_SIGMA = 0.05
MAD_TO_SIGMA = 1.4826
"""Of a normal law, sigma over the median absolute deviation."""

SMALL_UL = 60_000
"""A pour of less is no glass."""
NONE = (0, 0)
"""Rows and amount of a tap that poured nothing."""

Counts = tuple[int, int]
"""Rows of the till, rows of the meters."""


def odd_proportion(history: Iterable[Counts], today: Counts) -> float:
    """How many times as many till rows as usual there are for today's meter rows; 1 where that is nothing
    out of the way. ``history``: of at most ``DAYS`` days, and no more of them are asked for than it takes.

    >>> usual = [(300 + 5 * n, 400 + 7 * n) for n in range(12)]
    >>> odd_proportion(usual, (80, 110)), round(odd_proportion(usual, (100, 400)), 1)
    (1.0, 0.3)
    """
    if max(today) < FEWEST_ROWS or not min(today):
        return 1.0
    own, shares, near = log(today[0] / today[1]), list[float](), 0
    for till, meters in history:
        if min(till, meters) >= FEWEST_ROWS:
            shares.append(log(till / meters))
            near += abs(own - shares[-1]) < log(FACTOR)
        if 2 * near > DAYS:  # more than half are near: the median of all is, whatever the others are
            return 1.0
    if len(shares) < FEWEST_DAYS:
        return 1.0
    middle = median(shares)
    sigma = max(LEAST_SIGMA, MAD_TO_SIGMA * median(abs(share - middle) for share in shares))
    off = own - middle
    return exp(off) if abs(off) >= max(log(FACTOR), SIGMAS * sigma) else 1.0


class Odd(NamedTuple):
    """What is odd about the number of a day's rows; all empty where nothing is."""

    sentence: str = ""
    title: str = ""
    check: str = ""


def odd_volume(db: Store, settings: Settings, day: date) -> Odd:
    """What the day's exports hold far too few or too many of, and what to do about it."""
    today = _counts(db, settings, day)
    if max(today) < FEWEST_ROWS or not min(today):
        return Odd()
    days = [day - timedelta(days=n) for n in range(1, DAYS + 1)]
    times = odd_proportion((_counts(db, settings, one) for one in days), today)
    if times == 1.0:
        return Odd()
    earlier = [_counts(db, settings, one) for one in days]
    if times < 1 and _one_tap_alone(db, settings, [day, *days], [today, *earlier]):
        return Odd()
    weekday = [one for one in earlier[6::7] if min(one) >= FEWEST_ROWS] or earlier
    usual = [max(1, round(median(one[side] for one in weekday))) for side in (0, 1)]
    side = max((0, 1), key=lambda nth: abs(log(today[nth] / usual[nth])))
    feeds = [feed.name for feed in settings.feed if feed.carries == ("rings", "pours")[side]]
    file = file_of_day(db, feeds, *bounds_of(settings, day))
    names, few = " and ".join(map(repr, feeds)), today[side] < usual[side]
    (rows, as_a_rule), (others, others_as_a_rule) = (
        [number_text(counts[nth], settings.venue.locale) for counts in (today, usual)]
        for nth in (side, 1 - side)
    )
    return Odd(
        f"{names} brought {rows} rows for {day_name(day, settings)}, usually about {as_a_rule} ({file}), "
        f"while the other side brought {others}, usually {others_as_a_rule}.",
        f"Far {'fewer' if few else 'more'} rows than usual from {names}",
        "See whether the export is whole and holds every terminal or meter; export it again if not."
        if few else "See whether rows came twice, under new numbers; [[feed]] export says how files relate.",
    )


def _one_tap_alone(db: Store, settings: Settings, days: Sequence[date], counts: Sequence[Counts]) -> bool:
    """Whether nothing is odd about the first of ``days`` but for one tap's small pours: one that drips writes
    hundreds. ``counts``: of each day."""
    today, *before = (pours_of_taps(db, *bounds_of(settings, day)) for day in days)
    usual = {
        tap: (sum(one.get(tap, NONE)[0] for one in before), sum(one.get(tap, NONE)[1] for one in before))
        for tap in today
    }
    tap = max(sorted(today), key=lambda one: today[one][0] - usual[one][0] / len(before), default="")
    (count, amount), (count_before, amount_before) = today.get(tap, NONE), usual.get(tap, NONE)
    # What came twice is as large as ever; a tap that never poured before is judged by its size alone.
    small = 2 * amount * count_before < amount_before * count if count_before else amount < SMALL_UL * count
    others, *history = (
        (rings, pours - there.get(tap, NONE)[0])
        for (rings, pours), there in zip(counts, [today, *before], strict=True)
    )
    return small and min(others) >= FEWEST_ROWS and odd_proportion(history, others) == 1.0


def _counts(db: Store, settings: Settings, day: date) -> Counts:
    return count_between(db, *bounds_of(settings, day))
