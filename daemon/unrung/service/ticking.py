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
