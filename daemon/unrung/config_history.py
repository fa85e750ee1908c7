"""Edits of the tables do not change the past: what a row applies to, from edit to edit.

A row without dates that is changed or taken out goes on applying to the days up to the edit; its
successor applies from the next business day. A dated row applies to its own dates, also backwards,
in place of what it succeeds: the days it touches are computed again. A row that speaks of what no row
spoke of before (a new item, a size that none fitted, a new tap) applies to all days, and so does a cell
that was blank and is filled in: nothing else was known of those days.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from unrung.settings import MenuRow, Product, Section, Settings, TapRow

TABLES: dict[str, type[Section]] = {"products": Product, "menu": MenuRow, "taps": TapRow}
_NAMES: dict[str, str] = {"products": "product", "menu": "item", "taps": "tap"}
_KEYS: dict[str, tuple[str, ...]] = {
    "products": ("product",),
    "menu": ("item", "size", "price_level", "modifier", "product"),
    "taps": ("tap",),
}
_BLANKS: dict[str, tuple[str, ...]] = {
    "products": ("keg_size_ul", "keg_cost_minor"),
    "menu": ("price_minor",),
    "taps": ("meter", "pulses_per_litre", "line_volume_ul", "counter_modulus"),
}
"""Cells that may be left blank until somebody knows."""
_DATES = ("valid_from", "valid_to", "from_ms", "to_ms")


@dataclass(frozen=True, slots=True)
class KnownRow:
    """A row as the store knows it. ``since`` and ``until`` are business days; None is open."""

    table: str
    row: str
    since: date | None = None
    until: date | None = None
    id: int | None = None


@dataclass(slots=True)
class Settled:
    """The history after an edit, and what the edit touches."""

    rows: list[KnownRow] = field(default_factory=list)
    spans: list[tuple[date, date | None]] = field(default_factory=list)
    """Business days whose ledgers an edit changes; an open end is today."""
    new_names: list[tuple[str, str]] = field(default_factory=list)
    """(table, item, tap or meter) that no row spoke of before: days that hold rows of that name."""

    @property
    def changed(self) -> bool:
        return bool(self.spans or self.new_names)


def settle(known: Sequence[KnownRow], settings: Settings, today: date) -> Settled:
    """Bring what the store knows in line with the tables as they stand now."""
    result = Settled()
    for table in TABLES:
        current = [canonical(row) for row in getattr(settings, table)]
        mine = [row for row in known if row.table == table]
        _settle_table(table, mine, list(dict.fromkeys(current)), today, result)
    return result


def effective(settled: Iterable[KnownRow], settings: Settings) -> Settings:
    """The settings with every row's dates narrowed to the days it applies to."""
    tables: dict[str, list[Any]] = {table: [] for table in TABLES}
    for known in settled:
        row = TABLES[known.table].model_validate_json(known.row)
        dates = _narrowed(row, known)
        if dates is not None:
            tables[known.table].append(row.model_copy(update=dates))
    return settings.model_copy(update={name: tuple(rows) for name, rows in tables.items()})


def canonical(row: Section) -> str:
    """A row as text that is equal where its contents are."""
    return json.dumps(row.model_dump(mode="json"), sort_keys=True, ensure_ascii=False)


def _settle_table(
    table: str, known: list[KnownRow], current: list[str], today: date, result: Settled
) -> None:
    known = _filled_in(table, known, [json.loads(text) for text in current], result)
    live = {row.row: row for row in known if row.until is None}
    gone = [row for text, row in live.items() if text not in set(current)]
    kept = [row for row in known if row not in gone]
    for text in (text for text in current if text not in live):
        new = json.loads(text)
        older = next((row for row in gone if _replaces(table, new, json.loads(row.row))), None)
        if older is not None:
            gone.remove(older)
            kept.append(KnownRow(table, text, older.since))
            result.spans.append(_span(new, json.loads(older.row)))
        elif _dated(new):
            kept.append(KnownRow(table, text))
            result.spans.append(_span(new, new))
        elif not any(_speaks_of(table, json.loads(row.row), new) for row in known):
            kept.append(KnownRow(table, text))
            result.new_names += [(table, name) for name in _names(table, new)]
        else:
            kept.append(KnownRow(table, text, today + timedelta(days=1)))
    result.rows += kept
    dated = [row for row in map(json.loads, current) if _dated(row)]
    for row in gone:
        result.rows += _ended(table, row, dated, today)


def _filled_in(
    table: str, known: list[KnownRow], current: Sequence[Mapping[str, Any]], result: Settled
) -> list[KnownRow]:
    """What is known, with the cells that were blank and are filled in the tables of today."""
    filled = []
    for row in known:
        old = json.loads(row.row)
        same = [new for new in current if all(new.get(key) == old.get(key) for key in _DATES)
                and all(_plain(new[key]) == _plain(old[key]) for key in _KEYS[table])]
        news = {
            cell: same[0][cell] for cell in _BLANKS[table]
            if len(same) == 1 and not old[cell] and same[0][cell]
        }
        if any(other.row != row.row and json.loads(other.row).get("meter") == news.get("meter", "")
               for other in known if "meter" in news):
            del news["meter"]  # another tap's until now
        if news:
            result.spans.append((row.since or date.min, row.until))
            row = KnownRow(table, json.dumps({**old, **news}, sort_keys=True, ensure_ascii=False),
                           row.since, row.until)
        filled.append(row)
    return filled


def _speaks_of(table: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether the row ``old`` says anything of what ``new`` is about: a blank cell fits anything."""
    if not {*map(_plain, _names(table, old))} & {*map(_plain, _names(table, new))}:
        return False
    cells = ("size", "price_level", "modifier") if table == "menu" else ()
    return all(not old[cell] or _plain(old[cell]) == _plain(new[cell]) for cell in cells)


def _ended(
    table: str, old: KnownRow, dated: Sequence[Mapping[str, Any]], today: date
) -> list[KnownRow]:
    """What is left of a row that no longer stands in the table: the days up to the edit, without
    those that a dated row of the table speaks of in its place."""
    row = json.loads(old.row)
    pieces = [(old.since or date.min, today)]
    for new in dated:
        if any(_plain(new[key]) != _plain(row[key]) for key in _KEYS[table]):
            continue
        if new.get("from_ms"):
            row["to_ms"] = min(new["from_ms"], row.get("to_ms") or new["from_ms"])
            continue
        if new.get("to_ms"):
            row["from_ms"] = max(new["to_ms"], row.get("from_ms") or 0)
            continue
        first = _day(new.get("valid_from"), None) or date.min
        last = _day(new.get("valid_to"), None) or date.max
        pieces = [piece for lo, hi in pieces for piece in _without(lo, hi, first, last)]
    text = json.dumps(row, sort_keys=True, ensure_ascii=False)
    return [KnownRow(table, text, None if lo == date.min else lo, hi) for lo, hi in pieces]


def _without(lo: date, hi: date, first: date, last: date) -> list[tuple[date, date]]:
    """The days lo..hi less the days first..last."""
    one_day = timedelta(days=1)
    before = (lo, min(hi, first - one_day)) if first > lo else None
    after = (max(lo, last + one_day), hi) if last < hi else None
    return [piece for piece in (before, after) if piece and piece[0] <= piece[1]]


def _names(table: str, row: Mapping[str, Any]) -> list[str]:
    """What the exports may call the thing that a row is about: a tap also by its meter."""
    return sorted({str(row[_NAMES[table]]), str(row.get("meter", ""))} - {""})


def _started(row: Mapping[str, Any]) -> bool:
    return bool(row.get("valid_from") or row.get("from_ms"))


def _dated(row: Mapping[str, Any]) -> bool:
    return _started(row) or bool(row.get("valid_to") or row.get("to_ms"))


def _plain(text: object) -> str:
    """A name as the menu and the taps are looked up: without regard to case and blanks."""
    return " ".join(str(text).casefold().split())


def _replaces(table: str, new: Mapping[str, Any], old: Mapping[str, Any]) -> bool:
    """Whether ``new`` is ``old`` given an end, or a dated row put right."""
    if any(new[key] != old[key] for key in _KEYS[table]):
        return False
    same_start = all(new.get(key) == old.get(key) for key in ("valid_from", "from_ms"))
    ends = {"valid_to", "to_ms"}
    only_ended = same_start and all(new[key] == old[key] for key in new if key not in ends)
    return only_ended or (_started(new) and same_start)


def _span(new: Mapping[str, Any], old: Mapping[str, Any]) -> tuple[date, date | None]:
    """Days that an edit touches: for a mere end, those after it; else from the row's start."""
    ends = {"valid_to", "to_ms"}
    if new is not old and all(new[key] == old[key] for key in new if key not in ends):
        ended = [_day(row.get("valid_to"), row.get("to_ms")) for row in (new, old)]
        return min((day for day in ended if day), default=date.min), None
    first = _day(new.get("valid_from"), new.get("from_ms")) or date.min
    last = [_day(row.get("valid_to"), row.get("to_ms"), late=True) for row in (new, old)]
    return first, max((day for day in last if day), default=None) if all(last) else None


def _day(text: str | None, at_ms: int | None, *, late: bool = False) -> date | None:
    if text:
        return date.fromisoformat(text)
    # A day early, or late, is no harm: it is only computed again.
    return None if at_ms is None else date.fromordinal(719_163 + at_ms // 86_400_000 - (0 if late else 1))


def _narrowed(row: Section, known: KnownRow) -> dict[str, Any] | None:
    """The row's dates within the days it applies to; None where no day is left."""
    first: date | None = getattr(row, "valid_from", None)
    last: date | None = getattr(row, "valid_to", None)
    first = _latest(first, known.since)
    last = _earliest(last, known.until)
    if first and last and first > last:
        return None
    dates: dict[str, Any] = {"valid_from": first}
    return dates | {"valid_to": last} if hasattr(row, "valid_to") else dates


def _latest(one: date | None, other: date | None) -> date | None:
    return max((day for day in (one, other) if day), default=None)


def _earliest(one: date | None, other: date | None) -> date | None:
    return min((day for day in (one, other) if day), default=None)


Lookup = Callable[[str, set[str]], set[date]]


def touched_days(settled: Settled, first: date, today: date, days_with: Lookup) -> set[date]:
    """The business days from ``first`` on that the edit changes. ``days_with`` tells the days that
    hold rows of a table's names."""
    days: set[date] = set()
    for lo, hi in settled.spans:
        start, end = max(lo, first), min(hi or today, today)
        days |= {start + timedelta(days=n) for n in range((end - start).days + 1)}
    for table in dict.fromkeys(table for table, _ in settled.new_names):
        days |= days_with(table, {name for which, name in settled.new_names if which == table})
    return days
