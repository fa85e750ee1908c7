"""What stays open from day to day is told when it is new and then once a week, not every morning."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import NamedTuple

WEEK = timedelta(days=7)
TELL_AGAIN_AT = 2
"""A day with this multiple of the volume last told is told at once."""


class Standing(NamedTuple):
    """What is kept of an open matter from one mail to the next."""

    since: date
    """First business day of it."""
    told: date
    """Business day whose mail told it last."""
    seen: date
    """Last business day that showed it."""
    told_ul: int
    """That day's volume when it was told last, in microlitres."""
    cost_minor: int
    """So far, in minor units; 0 where no cost is known."""


class Seen(NamedTuple):
    """An open matter as one day shows it."""

    key: str
    began: date
    volume_ul: int = 0
    """Of this day."""
    cost_minor: int = 0
    """Of this day."""
    whole_cost_minor: int = 0
    """Since it began, as far as this day's records go back."""


def is_due(known: Standing | None, seen: Seen, day: date, least_ul: int) -> bool:
    """Whether the mail of ``day`` tells it: new, begun anew since it was told, a week old, or twice
    what was told and worth an alert. A day whose mail is written again tells the same again."""
    if known is None or known.told == day or seen.began > known.told:
        return True
    grown = seen.volume_ul >= max(least_ul, TELL_AGAIN_AT * known.told_ul)
    return day - known.told >= WEEK or grown


def moved_on(known: Standing | None, seen: Seen, day: date, *, told: bool) -> Standing:
    """What is kept after ``day``: every day's cost counts once."""
    if known is None:
        return Standing(seen.began, day, day, seen.volume_ul, max(seen.cost_minor, seen.whole_cost_minor))
    cost = known.cost_minor + (seen.cost_minor if day > known.seen else 0)
    return Standing(
        min(known.since, seen.began), day if told else known.told, max(day, known.seen),
        seen.volume_ul if told else known.told_ul, max(cost, seen.whole_cost_minor),
    )


def still_kept(known: Mapping[str, Standing], day: date) -> dict[str, Standing]:
    """Without what was not seen for a week: it is over, and new when it comes back."""
    return {key: one for key, one in known.items() if day - one.seen < WEEK}


def days_open(one: Standing, day: date) -> int:
    """Both ends counted."""
    return (day - one.since).days + 1
