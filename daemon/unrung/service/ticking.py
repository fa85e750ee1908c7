"""The trigger of the service's tick."""

from __future__ import annotations

from datetime import datetime, timedelta

from apscheduler.triggers.base import BaseTrigger


class Every(BaseTrigger):  # type: ignore[misc]  # the library has no types
    """Once in so many seconds, reckoned from now and never from the last time.

    The library asks for every time between the last one and now, one by one, before it folds them into
    one. A clock that goes from 2001 to 2025 while the service runs lets it make 25 million of them.
    """

    def __init__(self, seconds: float) -> None:
        self._pause = timedelta(seconds=seconds)

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        return now + self._pause


def is_far(at: datetime | None, now_s: float, pause_s: float) -> bool:
    """Whether the next tick was set by a clock that has since been moved back: it would come when the old
    time comes round again. ``now_s``: seconds since 1970."""
    return at is not None and at.timestamp() > now_s + 2 * pause_s
