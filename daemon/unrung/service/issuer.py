"""Issuing days and judging today: decided here, worked out in a process of its own (``child``).

The calculation needs libraries of 60 MB and some seconds, a few times a day. In a process that ends
when it is done neither stays, and the service itself remains small for the rest of the day.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import date
from functools import partial

from unrung.collecting import seldom_collected
from unrung.daybook import Cache
from unrung.errors import UnrungError
from unrung.issuing import due_days, issue_if_touched
from unrung.month_issuing import due_months, issue_due_months
from unrung.service.venue import Venue
from unrung.settings import Settings
from unrung.store.days import unplaced
from unrung.store.open import Store
from unrung.thresholds import judge_today, to_judge

DAYS_AT_ONCE = 10
"""Days of a long backlog that one run issues before others get their turn."""
SOON_SECONDS, IDLE_SECONDS = 1.0, 60.0
_log = logging.getLogger("unrung.service")

Work = Callable[[Settings, int], None]
"""Does ``issue_and_judge`` at a moment (UTC milliseconds), wherever that may be."""


class Issuer:
    """The worker that issues what is due and judges what is fresh."""

    def __init__(
        self, venue: Venue, settling: Callable[[], bool], work: Work, tell: Callable[[], None]
    ) -> None:
        self._venue, self._settling, self._work, self._tell = venue, settling, work, tell

    def step(self) -> float:
        if self._settling():
            return SOON_SECONDS
        settings, now_ms = self._venue.settings, self._venue.clock.wall_ms()
        with self._venue.store() as db:
            if self._venue.clock_is_wrong(db, now_ms):
                return IDLE_SECONDS
            due = bool(due_days(db, settings, now_ms) or due_months(db, settings, now_ms))
            fresh = self._venue.fresh.is_set() and to_judge(db, settings, now_ms) is not None
        self._venue.fresh.clear()
        if not (due or fresh):
            return IDLE_SECONDS
        try:
            self._work(settings, now_ms)
        except BaseException:
            self._venue.fresh.set()
            raise
        finally:
            self._read_back()
        return SOON_SECONDS

    def _read_back(self) -> None:
        with self._venue.store() as db:
            self._venue.note("files", " ".join(f"{day}: {text}" for day, text in unplaced(db).items()))
        self._tell()


@seldom_collected()
def issue_and_judge(db: Store, settings: Settings, now_ms: int) -> None:
    """Issue the next due days, judge today, make the months that are over. What fails stops nothing
    else; raises UnrungError at the end with every failure."""
    failed = _issue_days(db, settings, now_ms)
    failed += _tried("today could not be judged", lambda: judge_today(db, settings, now_ms))
    failed += _tried("a month could not be made", lambda: _make_months(db, settings, now_ms))
    if failed:
        raise UnrungError("; ".join(failed))


def _issue_days(db: Store, settings: Settings, now_ms: int) -> list[str]:
    cache: Cache = {}
    failed: list[str] = []
    for count, day in enumerate(due_days(db, settings, now_ms)):
        if count - len(failed) < DAYS_AT_ONCE:
            issue = partial(_issue_one, db, settings, day, now_ms, cache)
            failed += _tried(f"{day.isoformat()} could not be issued", issue)
    return failed


def _issue_one(db: Store, settings: Settings, day: date, now_ms: int, cache: Cache) -> None:
    issued = issue_if_touched(db, settings, day, now_ms, cache)
    if issued is not None and issued.changed:
        _log.info("issued %s revision %s", day.isoformat(), issued.revision)


def _make_months(db: Store, settings: Settings, now_ms: int) -> None:
    for month in issue_due_months(db, settings, now_ms):
        _log.info("made %s, revision %s", month.period.name, month.revision)
        for text in (*map(str, month.unplaced), *month.notes):
            _log.warning("%s: %s", month.period.name, text)


def _tried(what: str, work: Callable[[], object]) -> list[str]:
    """What went wrong, to be told at the end; the log has where."""
    try:
        work()
    except Exception as error:  # noqa: BLE001 - one failure must not stop the rest of the work
        _log.exception(what)
        return [f"{what}: {type(error).__name__}: {error}"]
    return []
