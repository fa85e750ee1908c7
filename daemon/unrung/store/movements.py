"""Rows of the five records: merged in by identity, read out by time."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from itertools import chain, islice
from operator import itemgetter
from typing import Any
from zoneinfo import ZoneInfo

from sqlite_utils import Database

from unrung.store.movement_values import COLUMNS, CONTENT, OWN, Columns, Values, column, rows_of

_CHUNK, _A_STATEMENT = 500, 50

Span = tuple[int, int]


@dataclass(slots=True)
class Merge:
    """What taking rows in changed."""

    new_rows: int
    superseded: int
    touched_ms: list[int]
    """Times of every row that came or went; of a span both its ends, since a cleaning that goes on past
    the business day's edge changes the next day too."""
    touched_days: list[str]
    """Business days of rows that came or went without a time."""

    def add(self, more: Merge) -> None:
        """What taking in more rows of the same export changed."""
        self.new_rows += more.new_rows
        self.superseded += more.superseded
        self.touched_ms += more.touched_ms
        self.touched_days += more.touched_days


def merge(
    db: Database, rows: Sequence[Values], source: int, filled: Collection[str] = COLUMNS
) -> Merge:
    """Take ``rows`` in: unknown ones are added, changed ones supersede what was known.

    A row known with equal contents stays as it was first received. A lower version than the known
    one is passed over, and so is a row that ``source`` itself or a later export gave: one that is
    read again, in other settings, brings what waited and changes nothing that was good. ``filled``:
    columns that any row has a value for. Call within a write transaction.
    """
    if rows and not _current(db, [rows[0], rows[-1]]) and _add_unknown(db, partial(_add, db, rows, filled)):
        return _came(Merge(0, 0, [], []), rows, [])
    return _merged(db, rows, source, filled)


def merge_columns(db: Database, columns: Columns, feed: str, idents: Sequence[bytes], source: int) -> Merge:
    """``merge`` of the rows of an export, which are made only where the store knows any of them."""
    ends: Columns = {name: (values[0], values[-1]) for name, values in columns.items()} if idents else {}
    if idents and not _current(db, rows_of(ends, feed, (idents[0], idents[-1]), source)):
        whole: Columns = {**columns, "feed": [feed] * len(idents), "ident": idents,
                          "source": [source] * len(idents)}
        if _add_unknown(db, partial(_add_columns, db, whole)):
            times = [at for name in ("at_ms", "end_ms") for at in column(columns, name) if at is not None]
            days = [day for day in column(columns, "day") if day is not None]
            return Merge(len(idents), 0, times, days)
    return _merged(db, rows_of(columns, feed, idents, source), source, columns)


def _merged(db: Database, rows: Sequence[Values], source: int, filled: Collection[str]) -> Merge:
    """``merge`` of rows of which the store may know some."""
    result = Merge(0, 0, [], [])
    fresh: list[Values] = []
    stale: list[tuple[int, int]] = []
    for at in range(0, len(rows), _CHUNK):
        chunk = rows[at : at + _CHUNK]
        current = _current(db, chunk)
        for row in chunk:
            old = current.get(row[2])
            if old is None:
                fresh.append(row)
            elif old["source"] < source and not _same(old, row) and not _older(row[6], old["version"]):
                stale.append((source, old["id"]))
                _touch(result, old)
                fresh.append(row)
    _supersede(db, stale)
    _add(db, fresh, filled)
    return _came(result, fresh, stale)


def _came(result: Merge, fresh: Sequence[Values], stale: Sequence[tuple[int, int]]) -> Merge:
    for place in (8, 10):
        result.touched_ms += [row[place] for row in fresh if row[place] is not None]
    result.touched_days += [row[11] for row in fresh if row[11] is not None]
    result.new_rows, result.superseded = len(fresh) - len(stale), len(stale)
    return result


def _add_unknown(db: Database, add: Callable[[], None]) -> bool:
    """Add rows where the store knows none of them, as is usual; else nothing, and False. That no current
    row has the identity of another is for the index to say."""
    db.execute("SAVEPOINT unknown")
    try:
        add()
    except sqlite3.IntegrityError:
        db.execute("ROLLBACK TO unknown")
        return False
    finally:
        db.execute("RELEASE unknown")
    return True


def _add(db: Database, rows: Sequence[Values], filled: Collection[str]) -> None:
    """Insert rows. Columns that no row has a value for are left to their defaults, which takes half the
    time."""
    used = [at for at, name in enumerate(COLUMNS) if name in filled or name in OWN]
    _insert(db, [COLUMNS[at] for at in used], map(itemgetter(*used), rows), len(rows))


def _add_columns(db: Database, columns: Columns) -> None:
    """Insert the rows of whole columns."""
    used = [name for name in COLUMNS if name in columns or name in OWN]
    rows = zip(*(column(columns, name) for name in used), strict=True)
    _insert(db, used, rows, len(columns["line"]))


def _insert(db: Database, names: Sequence[str], rows: Iterator[Values], count: int) -> None:
    """Many rows a statement take a quarter less time."""
    into, marks = f"INSERT INTO movements ({', '.join(names)}) VALUES ", f"({', '.join('?' * len(names))})"
    cells, whole = chain.from_iterable(rows), count // _A_STATEMENT
    db.conn.executemany(into + ", ".join([marks] * _A_STATEMENT), (
        tuple(islice(cells, _A_STATEMENT * len(names))) for _ in range(whole)))
    db.conn.executemany(into + marks, (
        tuple(islice(cells, len(names))) for _ in range(count - whole * _A_STATEMENT)))


def drop_missing(
    db: Database, feed: str, kept: set[bytes], span: Span, source: int, settled: Sequence[Span] = ()
) -> Merge:
    """Supersede the feed's rows within ``span`` that ``source``, the whole truth there, does not
    hold; not where later exports have ``settled`` a period since."""
    result = Merge(0, 0, [], [])
    rows = db.query(
        "SELECT id, ident, at_ms, end_ms, day FROM movements WHERE superseded_by IS NULL AND feed = ? "
        "AND at_ms >= ? AND at_ms < ? AND source <= ?",
        [feed, *span, source],
    )
    gone = [row for row in rows if row["ident"] not in kept and not within(row["at_ms"], settled)]
    for row in gone:
        _touch(result, row)
    _supersede(db, [(source, row["id"]) for row in gone])
    result.superseded = len(gone)
    return result


def within(at_ms: int, spans: Iterable[Span]) -> bool:
    """Whether a moment lies in one of the half-open spans."""
    return any(lo <= at_ms < hi for lo, hi in spans)


def drop_unread(db: Database, kept: set[bytes], source: int) -> Merge:
    """Supersede the rows that ``source`` once gave and, read again, gives no more."""
    result = Merge(0, 0, [], [])
    rows = db.query(
        "SELECT id, ident, at_ms, end_ms, day FROM movements WHERE superseded_by IS NULL AND source = ?",
        [source])
    gone = [row for row in rows if row["ident"] not in kept]
    for row in gone:
        _touch(result, row)
    _supersede(db, [(source, row["id"]) for row in gone])
    result.superseded = len(gone)
    return result


def share_known(db: Database, rows: Iterable[tuple[str, bytes]]) -> int:
    """How many of ``rows`` without an id of their source, as text of the time and identity, are current."""
    wanted = list(rows)
    return sum(
        len(_without_ref(db, "ident", wanted[at : at + _CHUNK])) for at in range(0, len(wanted), _CHUNK)
    )


def given_by(db: Database, source: int) -> set[bytes]:
    """Identities of the current rows that an export gave."""
    rows = db.query("SELECT ident FROM movements WHERE superseded_by IS NULL AND source = ?", [source])
    return {row["ident"] for row in rows}


_READ = """id, kind, feed, source, line, ref, at_ms, start_ms, end_ms, day, what, outlet, tap, product, item,
 size, price_level, modifier, units_micro, amount_minor, tax_minor, check_no, terminal, voided_ms, voids_ref,
 volume_ul, pulses, more"""
"""Columns that are calculated with; the text of the source's row is not."""


def between(db: Database, kinds: Iterable[str], lo_ms: int, hi_ms: int) -> Iterator[dict[str, Any]]:
    """Current rows of ``kinds`` with lo <= at_ms < hi, in a fixed order of content."""
    names = list(kinds)
    marks = ",".join("?" * len(names))
    return db.query(
        f"SELECT {_READ} FROM movements WHERE superseded_by IS NULL AND at_ms >= ? AND at_ms < ? "
        f"AND kind IN ({marks}) ORDER BY at_ms, feed, source, line, id",
        [lo_ms, hi_ms, *names],
    )


def count_between(db: Database, lo_ms: int, hi_ms: int) -> tuple[int, int]:
    """How many current rings, and pours, have lo <= at_ms < hi."""
    rings, pours = db.execute(
        "SELECT count(*) FILTER (WHERE kind = 'ring'), count(*) FILTER (WHERE kind = 'pour') FROM movements "
        "WHERE superseded_by IS NULL AND at_ms >= ? AND at_ms < ?", [lo_ms, hi_ms]).fetchone()
    return rings, pours


def pours_of_taps(db: Database, lo_ms: int, hi_ms: int) -> dict[str, tuple[int, int]]:
    """Per tap, how many current pours have lo <= at_ms < hi, and their microlitres, or pulses, together."""
    rows = db.execute(
        "SELECT tap, count(*), sum(coalesce(volume_ul, pulses, 0)) FROM movements "
        "WHERE superseded_by IS NULL AND kind = 'pour' AND at_ms >= ? AND at_ms < ? GROUP BY tap",
        [lo_ms, hi_ms])
    return {tap: (count, amount) for tap, count, amount in rows}


def local_hours(db: Database, feed: str, lo_ms: int, hi_ms: int, zone: ZoneInfo) -> Counter[int]:
    """Current rows of a feed with lo <= at_ms < hi, per hour of the local day."""
    rows = db.query(
        "SELECT at_ms / 3600000 AS hour, count(*) AS n FROM movements WHERE superseded_by IS NULL "
        "AND at_ms >= ? AND at_ms < ? AND feed = ? GROUP BY 1", [lo_ms, hi_ms, feed])
    found: Counter[int] = Counter()
    for row in rows:
        found[datetime.fromtimestamp(row["hour"] * 3600, UTC).astimezone(zone).hour] += row["n"]
    return found


def first_and_last_ms(db: Database) -> tuple[int, int] | None:
    """Times of the first and last current movement, or None for an empty store."""
    row = db.execute(  # each by itself: of both at once SQLite reads the whole index
        "SELECT (SELECT min(at_ms) FROM movements WHERE superseded_by IS NULL), "
        "(SELECT max(at_ms) FROM movements WHERE superseded_by IS NULL)"
    ).fetchone()
    return None if row[0] is None else (row[0], row[1])


def _current(db: Database, rows: Sequence[Values]) -> dict[bytes, dict[str, Any]]:
    """The current rows that have the identities of ``rows``, which are of one feed."""
    columns = ", ".join(("id", "ident", "source", *CONTENT, "version"))
    refs = [row[5] for row in rows if row[5]]
    found = _with_ref(db, columns, rows[0][1], refs) if refs else []
    bare = [(row[12], row[2]) for row in rows if not row[5]]
    found += _without_ref(db, columns, bare) if bare else []
    return {row["ident"]: row for row in found}


def _with_ref(db: Database, columns: str, feed: str, refs: Sequence[str]) -> list[dict[str, Any]]:
    marks = ",".join("?" * len(refs))
    return list(db.query(
        f"SELECT {columns} FROM movements WHERE superseded_by IS NULL AND ref <> '' AND feed = ? "
        f"AND ref IN ({marks})", [feed, *refs]))


def _without_ref(db: Database, columns: str, rows: Sequence[tuple[str, bytes]]) -> list[dict[str, Any]]:
    """By text of the time and identity: an identity without an id is drawn from a text that holds it.
    Joined, since SQLite looks up no pair of an IN by its index."""
    marks = ",".join(["(?,?)"] * len(rows))
    return list(db.query(
        f"WITH wanted (text, digest) AS (VALUES {marks}) SELECT {columns} FROM wanted CROSS JOIN movements "
        "ON at_text = text AND ident = digest WHERE superseded_by IS NULL AND ref = ''",
        [part for row in rows for part in row]))


def _same(old: dict[str, Any], new: Values) -> bool:
    """Whether two receipts say the same. A staff name counts for nothing: it may have been blanked."""
    return old["kind"] == new[0] and all(
        old[name] == value for name, value in zip(CONTENT[1:], new[7:], strict=True) if name != "staff"
    )


def _older(new: str, known: str) -> bool:
    """Whether version ``new`` is lower than ``known``; without versions the newer receipt wins."""
    if not new or not known:
        return False
    try:
        return float(new) < float(known)
    except ValueError:
        return new < known


def _supersede(db: Database, pairs: list[tuple[int, int]]) -> None:
    db.conn.executemany("UPDATE movements SET superseded_by = ? WHERE id = ?", pairs)


def _touch(result: Merge, row: Mapping[str, Any]) -> None:
    result.touched_ms += [row[name] for name in ("at_ms", "end_ms") if row[name] is not None]
    if row["day"] is not None:
        result.touched_days.append(row["day"])
