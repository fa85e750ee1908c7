"""What the morning mail remembers: the same weekday of earlier weeks, and what stands open."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

from unrung.mail.standing import WEEK, Standing, still_kept
from unrung.store.days import day_rows, fact, set_fact, volumes_between
from unrung.store.open import Store

STANDING = "told open"
WEEKS = 4


def same_weekdays(db: Store, day: date) -> list[int]:
    """Beer poured without a ring, microlitres, on this weekday of the last four weeks; only days that
    were issued complete."""
    days = [day - n * WEEK for n in range(1, WEEKS + 1)]
    whole = {row.day for row in day_rows(db) if row.status == "final" and row.revision}
    sums: dict[date, int] = {}
    for one in days:
        if one in whole:
            volumes = volumes_between(db, one, one)
            sums[one] = volumes[one].poured_not_rung if one in volumes else 0
    return list(sums.values())


def standing_before(db: Store, day: date) -> dict[str, Standing]:
    """What earlier mails told, by key, less what is over."""
    kept = json.loads(fact(db, STANDING) or "{}")
    return still_kept({key: _standing(*one) for key, one in kept.items()}, day)


def keep_standing(db: Store, standing: Mapping[str, Standing]) -> None:
    """For the next mail; within a transaction."""
    text = {
        key: [*(day.isoformat() for day in one[:3]), *one[3:]] for key, one in sorted(standing.items())
    }
    set_fact(db, STANDING, json.dumps(text, ensure_ascii=False))


def _standing(since: str, told: str, seen: str, told_ul: int, cost_minor: int) -> Standing:
    first, last, newest = map(date.fromisoformat, (since, told, seen))
    return Standing(first, last, newest, told_ul, cost_minor)
