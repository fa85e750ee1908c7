"""A clock that went far ahead: wrong, or that of a machine that was off for long. Both go on, with care.

While the service works it writes down that it saw the clock. A clock that is then more than ``AWAY_MS``
ahead is in doubt until something bears it out: rows near it, the date that a polled server or the
heartbeat's sends along (RFC 9110, section 6.6.1), or a person.

Meanwhile exports are taken in, and days are issued as far as time is known to have passed: up to the newest
row, to where exports reach by the time of their files, or to when the clock was seen last and what has
passed since. So nothing stands still: last year's files become days. And nothing runs away: empty days,
deletions, spans that polls cover and edits of the tables go by the known time. Mail waits, but for the one
that tells of the clock.
"""

from __future__ import annotations

from unrung.clock_trust import (
    AWAY_MS,
    FAR_MS,
    NEAR_MS,
    clock_trouble,
    confirmed,
    right_on,
    rows_near,
    shown_day,
)
from unrung.mail.compose import clock_mail
from unrung.outgoing import write_down
from unrung.settings import Settings
from unrung.store.clock_evidence import Known, covered_by_files_ms, known_time, save_known
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store, write_tx
from unrung.venue_time import local_time

TELL_MS = 10 * 60_000
"""A doubt that is over sooner, as by the first exports of the day, is no matter for a mail."""


def in_doubt(db: Store, settings: Settings, now_ms: int) -> bool:
    """Whether the clock that shows ``now_ms`` (UTC milliseconds) is far ahead and nothing bears it out."""
    return _doubted(db, settings, now_ms, known_time(db)) is not None


def lived_ms(db: Store, settings: Settings, now_ms: int) -> int:
    """Up to when time was seen to pass: ``now_ms``, unless that is in doubt."""
    last = _doubted(db, settings, now_ms, known_time(db))
    if last is None:
        return now_ms
    return last.known_ms + _passed_ms(last, now_ms)


def seen_ms(db: Store, settings: Settings, now_ms: int) -> int:
    """Up to when time is known to have passed, seen or not: ``now_ms``, unless that is in doubt."""
    lived = lived_ms(db, settings, now_ms)
    if lived == now_ms:
        return now_ms
    span = first_and_last_ms(db)
    # A file that bears a time near a wrong clock was written by it.
    written = covered_by_files_ms(db, now_ms - NEAR_MS)
    return max(lived, written, span[1] if span else 0)


def clock_doubt(db: Store, settings: Settings, now_ms: int) -> str:
    """That the clock is in doubt, and what to do, as a sentence; or empty."""
    last = _doubted(db, settings, now_ms, known_time(db))
    if last is None:
        return ""
    seen = shown_day(last.known_ms - last.waited_ms, settings)
    return (f"this machine's clock says {shown_day(now_ms, settings)}; when Unrung was last at work it said "
            f"{seen}, and no row is of the days just past. If the clock is wrong, set it. If it is right "
            "(was the bar shut?), the next exports will show that by themselves; to have it known now, write "
            f"{right_on(now_ms, settings)}. Until then exports are taken in and their days issued, but no "
            "later days; no mail is sent and nothing deleted for its age")


def note_clock(db: Store, settings: Settings, now_ms: int) -> None:
    """Write down that the clock was seen; where it is in doubt, how long it has been, and tell people
    once. Within a write transaction, before an export comes in by this clock: its receipt would tell."""
    last = known_time(db)
    if last is None:
        return
    if clock_trouble(db, settings, now_ms):
        save_known(db, last)
        return
    if _doubted(db, settings, now_ms, last) is None:
        save_known(db, Known(now_ms, now_ms))
        return
    passed = _passed_ms(last, now_ms)
    now = Known(last.known_ms + passed, now_ms, last.waited_ms + passed, last.told)
    if now.waited_ms >= TELL_MS and not now.told:
        _tell(db, settings, now_ms)
        now = now._replace(told=True)
    save_known(db, now)


def borne_out(db: Store, settings: Settings, now_ms: int, said_ms: int | None) -> bool:
    """A server said that it is ``said_ms`` (UTC milliseconds): whether that ended the doubt."""
    if said_ms is None or abs(said_ms - now_ms) > FAR_MS or not in_doubt(db, settings, now_ms):
        return False
    with write_tx(db):
        save_known(db, Known(now_ms, now_ms))
    return True


def _doubted(db: Store, settings: Settings, now_ms: int, last: Known | None) -> Known | None:
    """``last``, the time that is known, where the clock is far ahead of it and nothing bears that out."""
    if last is None or now_ms - last.known_ms <= AWAY_MS:  # as nearly always
        return None
    return None if confirmed(settings, now_ms) or rows_near(db, now_ms) else last


def _passed_ms(last: Known, now_ms: int) -> int:
    """What has passed since by the clock; nothing where it jumped once more."""
    passed = now_ms - last.shown_ms
    return passed if 0 <= passed <= AWAY_MS else 0


def _tell(db: Store, settings: Settings, now_ms: int) -> None:
    if settings.mail.host and settings.mail.to:
        mail = clock_mail(settings, shown_day(now_ms, settings), clock_doubt(db, settings, now_ms))
        today = local_time(now_ms, settings).date()
        write_down(db, settings, mail, key=f"clock {now_ms}", kind="clock", day=today, now_ms=now_ms)
