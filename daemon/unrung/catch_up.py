"""Takes in everything that waits and issues what is due: what ``catch-up`` runs once, and the
service again and again."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from unrung.ahead.exports import exports_ahead
from unrung.ahead.ledgers import ledgers_ahead
from unrung.clock_doubt import borne_out, clock_doubt, in_doubt, note_clock
from unrung.clock_trust import clock_trouble
from unrung.collecting import seldom_collected
from unrung.daybook import Cache
from unrung.errors import SourceError
from unrung.heartbeat import beat, untold
from unrung.intake.archive import REASONS, sentence
from unrung.intake.said import rows_came
from unrung.intake.scan import Scan, read_again, scan
from unrung.intake.take_in import Taken
from unrung.issuing import Issued, due_days, issue_if_touched
from unrung.month_issuing import MonthIssued, issue_due_months
from unrung.sending import send_due
from unrung.settings import Settings
from unrung.store.days import set_fact
from unrung.store.months import closing_of
from unrung.store.open import Store, write_tx
from unrung.thresholds import judge_today
from unrung.venue_time import without_day

Say = Callable[[str], None]
MOST_GOES = 100
"""A source with more pages than this many goes reads is left to the next catch-up."""
WHOLE = 31
"""Ledgers of the last so many days are kept, without their facts: a year's would fill the memory."""
REASONS_SHOWN = 3
"""Bad rows told of each export; all of them stand beside it."""


@dataclass(slots=True)
class CaughtUp:
    """What one run did."""

    taken: list[Taken] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    issued: list[Issued] = field(default_factory=list)
    months: list[MonthIssued] = field(default_factory=list)
    mails: int = 0

    @property
    def needs_attention(self) -> bool:
        return bool(
            self.problems
            or any(one.state == "set_aside" or one.source.rejected for one in self.taken)
            or any(one.unplaced for one in self.issued)
        )


@seldom_collected()
def take_in_all(db: Store, settings: Settings, now_ms: int, say: Say) -> CaughtUp:
    """One look at every folder. What is too young to have settled is named in ``waiting``."""
    done = CaughtUp()
    with exports_ahead(settings, now_ms) as reading:
        for feed in settings.feed:
            if not feed.folder:
                continue
            for taken in read_again(db, settings, feed, now_ms):
                done.taken.append(taken)
                _tell(taken, say, "read again, ")
            try:
                found = scan(db, settings, feed, None, now_ms=now_ms, reading=reading)
            except SourceError as error:
                done.problems.append(f"{feed.name}: {error}")
                continue
            _note(done, found, say)
    return done


def poll_all(
    db: Store, settings: Settings, now_ms: int, done: CaughtUp, say: Say, environ: Mapping[str, str]
) -> None:
    """Ask every polled address, except where its server asked to be left alone for a while."""
    polled_feeds = [feed for feed in settings.feed if feed.url]
    if not polled_feeds:
        return
    from unrung.intake.poll import poll_feed  # requests loads at first use

    for feed in polled_feeds:
        for _ in range(MOST_GOES):
            doubtful = in_doubt(db, settings, now_ms)
            polled = poll_feed(db, settings, feed, now_ms, environ, on_demand=True, doubtful=doubtful)
            done.taken += polled.taken
            for taken in polled.taken:
                _tell(taken, say)
            if borne_out(db, settings, now_ms, polled.said_ms):
                continue  # once more, by a clock that is believed
            if not polled.more:
                done.problems += [f"{feed.name}: {polled.problem}"] if polled.problem else []
                break


@seldom_collected()
def issue_due(
    db: Store, settings: Settings, now_ms: int, done: CaughtUp, say: Say, *,
    through: date | None = None, quiet: bool = False,
) -> None:
    """Issue every due day in order, then every period whose days are all issued."""
    days = [day for day in due_days(db, settings, now_ms, quiet=quiet) if through is None or day <= through]
    cache: Cache = {}
    own = [day for day in days if closing_of(db, day) is None]
    with ledgers_ahead(db, settings, own, say) as ahead:
        for day in days:
            issued = issue_if_touched(db, settings, day, now_ms, cache, ahead)
            if issued is not None:
                _note_issued(done, issued, settings, say)
    for month in issue_due_months(db, settings, now_ms):
        done.months.append(month)
        done.problems += [*map(str, month.unplaced), *month.notes]
        if month.changed:
            say(f"issued {month.period.name} revision {month.revision}")


def _note_issued(done: CaughtUp, issued: Issued, settings: Settings, say: Say) -> None:
    done.issued.append(replace(issued, ledger=replace(issued.ledger, facts=None)))
    for old in done.issued[-WHOLE - 1 : -WHOLE]:
        done.issued[-WHOLE - 1] = replace(old, ledger=replace(old.ledger, leaves=(), products=(), lone=()))
    done.problems += [str(one) for one in issued.unplaced]
    day = issued.day.isoformat()
    if issued.changed:
        lacks = "".join(f", {without_day(one, issued.day, settings)}" for one in issued.ledger.missing)
        say(f"issued {day} revision {issued.revision}{lacks}")
    elif issued.adjusted:
        say(f"{day} lies in a closed month: {issued.adjusted} figures moved, carried by the open month")


def catch_up(
    db: Store, settings: Settings, now_ms: int, say: Say, environ: Mapping[str, str], *,
    through: date | None = None,
) -> CaughtUp:
    """Take in, issue, send; once. By a clock that cannot be believed, nothing; by one that is in doubt,
    with care."""
    if wrong := clock_trouble(db, settings, now_ms):
        return CaughtUp(problems=[wrong])
    with write_tx(db):
        note_clock(db, settings, now_ms)
    done = take_in_all(db, settings, now_ms, say)
    poll_all(db, settings, now_ms, done, say, environ)
    if doubt := clock_doubt(db, settings, now_ms):
        done.problems.append(doubt)
    issue_due(db, settings, now_ms, done, say, through=through)
    judge_today(db, settings, now_ms)
    done.mails = send_due(db, settings, now_ms, environ)
    _tell_watchman(db, settings, now_ms, say)
    with write_tx(db):
        set_fact(db, "catch_up", json.dumps({"ended_ms": now_ms}))
        note_clock(db, settings, now_ms)
    return done


def _tell_watchman(db: Store, settings: Settings, now_ms: int, say: Say) -> None:
    while settings.schedule.heartbeat_url and untold(db, settings, now_ms):
        if wrong := beat(db, settings, now_ms):
            say(f"heartbeat: {wrong}")
            return


def _note(done: CaughtUp, found: Scan, say: Say) -> None:
    done.taken += found.taken
    done.waiting += found.waiting
    done.problems += found.problems
    for taken in found.taken:
        _tell(taken, say)


def _tell(taken: Taken, say: Say, how: str = "") -> None:
    """What became of an export, and the first of its bad rows with what to do about them."""
    source = taken.source
    say(f"{source.feed}: {source.name} {how}{_fate(taken)}")
    if source.state != "taken":
        return
    for reject in taken.rejects[:REASONS_SHOWN]:
        place = f"line {reject.line}, " if reject.line else ""
        say(f"  {place}field {reject.field!r}: {sentence(reject)}")
    if len(taken.rejects) > REASONS_SHOWN:
        where = f"see {source.name}{REASONS} beside it" if source.via == "folder" else "see unrung status"
        say(f"  and {len(taken.rejects) - REASONS_SHOWN} more, {where}")


def _fate(taken: Taken) -> str:
    source = taken.source
    if source.state == "taken":
        bad = f", {source.rejected} kept aside:" if source.rejected else ""
        return f"taken in, {rows_came(source)}{bad}"
    return f"{source.state.replace('_', ' ')}: {source.reason}"
