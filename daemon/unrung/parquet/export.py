"""One venue's movements, coverage and ledger leaves from its store to Parquet files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import NamedTuple

from unrung.business_day import business_day, day_bounds
from unrung.covering import covers_of
from unrung.errors import ConfigError, UnrungError
from unrung.issue.place import place
from unrung.parquet.columns import Table
from unrung.parquet.files import Row, require_pyarrow, to_bytes
from unrung.parquet.layout import FILE, SETTINGS, STORE, day_folder, settings_folder
from unrung.poll_settings import Poll
from unrung.settings import Mail, Settings, Upkeep
from unrung.store.days import issued_leaves
from unrung.store.months import sealed_units
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store
from unrung.store.partitions import movements_of_day
from unrung.store.sources import first_source


class Exported(NamedTuple):
    """What one export wrote or found in place."""

    days: int
    movements: int
    leaves: int


def export(
    db: Store, settings: Settings, to: Path, first: date | None = None, last: date | None = None,
    done: Callable[[date], None] = lambda day: None,
) -> Exported:
    """Write the business days ``first`` to ``last`` of a venue below ``to``; all days by default.
    ``done`` is told of each.

    A day's file that holds the same already is left alone, and one of a day that has no rows any more
    is taken away. Raises UnrungError where pyarrow is missing or a file cannot be written, ConfigError where
    the folder holds another venue of that name.
    """
    require_pyarrow()
    _mark(db, settings, to)
    write_file(settings_folder(to, settings.venue.name), SETTINGS, settings_bytes(settings))
    staff = settings.venue.keep_staff_days is not None
    days = movements = leaves = 0
    for day in _days(db, settings, first, last):
        tables = tables_of_day(db, settings, day)
        for table, rows in tables.items():
            folder = day_folder(to, table, settings.venue.name, day)
            if rows is None:
                _take_away(folder)
            else:
                write_file(folder, FILE, to_bytes(table, rows, staff=staff))
        days += 1
        movements += len(tables["movements"] or ())
        leaves += len(tables["leaves"] or ())
        done(day)
    return Exported(days, movements, leaves)


def _mark(db: Store, settings: Settings, to: Path) -> None:
    """Whose the venue's days below ``to`` are: those of two stores would be mixed where one name is both
    venues', as after a copy of a config folder. The first export that a store took in is its mark, which
    goes with it to other folders and machines."""
    folder, first = settings_folder(to, settings.venue.name), first_source(db)
    if first is None:
        return
    mark = f"{first.sha256} {first.received_ms}\n".encode()
    if (folder / STORE).is_file() and (folder / STORE).read_bytes() != mark:
        raise ConfigError([
            f"{folder} is of another venue that is called {settings.venue.name!r} too; give each its own "
            "[venue] name in venue.toml, or export to another folder. If it is this venue and its store was "
            f"made anew, take {STORE} out of there."
        ])
    write_file(folder, STORE, mark)


def settings_bytes(settings: Settings) -> bytes:
    """What of the settings a day is computed with, as JSON: no addresses, no folders of the machine."""
    feeds = tuple(feed.model_copy(update={"folder": "", "url": "", "poll": Poll()}) for feed in settings.feed)
    schedule = settings.schedule.model_copy(update={"heartbeat_url": ""})
    kept = settings.model_copy(update={
        "feed": feeds, "mail": Mail(), "upkeep": Upkeep(), "folder": "", "schedule": schedule,
    })
    return kept.model_dump_json(indent=1).encode()


def tables_of_day(db: Store, settings: Settings, day: date) -> dict[Table, list[Row] | None]:
    """The rows of one business day, table by table; None where there is to be no file."""
    venue = settings.venue
    bounds = day_bounds(day, venue.timezone, venue.day_starts)
    movements = movements_of_day(db, day, *bounds)
    coverage: list[Row] = [
        {"feed": feed, "from_ms": lo, "to_ms": hi}
        for feed, spans in covers_of(db, settings, bounds).items() for lo, hi in spans
    ]
    edge = sealed_units(db, day)
    units = None if edge is None else [{"unit": key, "goes_to": edge[key]} for key in sorted(edge)]
    return {
        "movements": [*movements] or None, "coverage": coverage or None,
        "leaves": [*issued_leaves(db, day)] or None, "edges": None if units is None else [*units],
    }


def _days(db: Store, settings: Settings, first: date | None, last: date | None) -> Iterator[date]:
    span, venue = first_and_last_ms(db), settings.venue
    if span is None:
        return
    known = [business_day(at, venue.timezone, venue.day_starts) for at in span]
    day, end = max(known[0], first or known[0]), min(known[1], last or known[1])
    while day <= end:
        yield day
        day += timedelta(days=1)


def write_file(folder: Path, name: str, content: bytes) -> None:
    """One file, whole or not at all. Raises UnrungError where it cannot be written."""
    for unplaced in place(folder, {name: content}):
        raise UnrungError(f"{folder}: {unplaced}")


def _take_away(folder: Path) -> None:
    if (folder / FILE).exists():
        (folder / FILE).unlink()
        folder.rmdir()
