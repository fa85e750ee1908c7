"""What the till sold of late that the menu does not list: neither on the day of the sale nor now.

A beer that was listed until it ran out is not asked about for the weeks in which it still counts as sold.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from datetime import timedelta

from unrung.daybook import bounds_of, day_at
from unrung.ledger.menu import Menu
from unrung.menu_rows import Asked
from unrung.rhythm import LOOK_BACK_MS
from unrung.settings import Settings
from unrung.store.open import Store
from unrung.store.overview import items_between

Menus = Sequence[tuple[int, Menu]]
"""(since when in UTC milliseconds, the menu as of then), in order."""


def menus_between(settings: Settings, from_ms: int, to_ms: int) -> Menus:
    """The menus of a span, one after the other as rows of ``menu.csv`` begin and end."""
    first, last = day_at(settings, from_ms), day_at(settings, to_ms)
    days = {row.valid_from for row in settings.menu}
    days |= {row.valid_to and min(row.valid_to, last) + timedelta(days=1) for row in settings.menu}
    begins = [bounds_of(settings, day)[0] for day in sorted(filter(None, days)) if first < day <= last]
    return [(at_ms, Menu(settings.menu, day_at(settings, at_ms))) for at_ms in (from_ms, *begins)]


def menu_at(menus: Menus, at_ms: int) -> Menu:
    """The menu of a moment; before the first one's time, that one."""
    return menus[max(0, bisect_right(menus, at_ms, key=lambda one: one[0]) - 1)][1]


def unlisted(db: Store, settings: Settings, feed: str, now_ms: int) -> Counter[Asked]:
    """How often a feed's till sold each unlisted item in the four weeks up to now."""
    menus = menus_between(settings, now_ms - LOOK_BACK_MS, now_ms)
    now, ends = menu_at(menus, now_ms), [at_ms for at_ms, _ in menus[1:]]
    found: Counter[Asked] = Counter()
    for (from_ms, menu), to_ms in zip(menus, [*ends, None], strict=True):
        sold = items_between(db, feed, from_ms, to_ms)
        found.update({
            asked: count for asked, count in sold.items()
            if menu.portions(*asked) is None and now.portions(*asked) is None
        })
    return found
