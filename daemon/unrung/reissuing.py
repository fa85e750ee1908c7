"""Files made again because a person asks: a day's, or a period's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from unrung.clock_trust import clock_trouble
from unrung.daybook import bounds_of, day_at
from unrung.errors import ConfigError, UnrungError
from unrung.issue.place import folder_for_month, place
from unrung.issuing import issue_day
from unrung.month_issuing import issue_month
from unrung.monthbook import period_called
from unrung.putting_back import put_back
from unrung.settings import Settings
from unrung.store.days import day_rows
from unrung.store.months import closed_files, closing_of, month_row
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store


@dataclass(frozen=True, slots=True)
class Reissued:
    """What to tell, and what a person should do about it."""

    said: str
    problems: tuple[str, ...] = ()


def reissue_day(db: Store, settings: Settings, day: date, now_ms: int) -> Reissued:
    """Compute a day again; a next revision if anything differs. Not for a day of a closed period, of which
    only files that are gone are made again.

    Raises ConfigError for a day that is not over, or of which nothing is known.
    """
    span = first_and_last_ms(db)
    if span is None or day < day_at(settings, span[0]):
        raise ConfigError([f"nothing is known of {day.isoformat()}; no export of it has come in"])
    if wrong := clock_trouble(db, settings, now_ms):
        raise UnrungError(wrong)
    if bounds_of(settings, day)[1] > now_ms:
        raise ConfigError([f"{day.isoformat()} is not over yet; it is issued by itself the next morning"])
    closed = closing_of(db, day)
    issued = issue_day(db, settings, day, now_ms, {})
    if closed is not None:
        carried = f"{issued.adjusted} figures moved, carried by the open month" if issued.adjusted else (
            "nothing differs")
        said = f"{day.isoformat()} lies in {closed.period.name}, which is closed: {carried}"
        back, problems = put_back(db, settings, issued.ledger)
        return Reissued(f"{said}; put back: {', '.join(back)}" if back else said, tuple(problems))
    said = f"{day.isoformat()}: {_said(issued.changed, issued.revision)}"
    return Reissued(said, tuple(map(str, issued.unplaced)))


def reissue_month(db: Store, settings: Settings, name: str, now_ms: int) -> Reissued:
    """Make a period's files again, also of one that is not over; a closed one's are put back."""
    period = period_called(settings, name)
    row = month_row(db, period.name)
    if row is not None and row.closed_ms is not None:
        unplaced = place(
            folder_for_month(settings, period.name), closed_files(db, period.name),
            readers=settings.files.readable_by)
        return Reissued(f"{period.name} is closed: its files stand as they were", tuple(map(str, unplaced)))
    if not any(row.revision and period.first <= row.day <= period.last for row in day_rows(db)):
        return Reissued(f"{period.name}: nothing was made", ("No day of it was issued.",))
    issued = issue_month(db, settings, period, now_ms)
    problems = (*map(str, issued.unplaced), *issued.notes)
    return Reissued(f"{period.name}: {_said(issued.changed, issued.revision)}", problems)


def _said(changed: bool, revision: int) -> str:
    return f"issued revision {revision}" if changed else f"nothing differs from revision {revision}"
