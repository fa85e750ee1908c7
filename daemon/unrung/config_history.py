"""Edits of the tables do not change the past: what a row applies to, from edit to edit.

A row without dates that is changed or taken out goes on applying to the days up to the edit; its
successor applies from the next business day. A dated row applies to its own dates, also backwards:
the days it touches are computed again. A row for a name that was never listed before applies to all
days, since nothing else was ever said of them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
    """(table, name) of rows for names never listed before: days that hold rows of that name."""

    @property
    def changed(self) -> bool:
        return bool(self.spans or self.new_names)


def settle(known: Sequence[KnownRow], settings: Settings, today: date) -> Settled:
    """Bring what the store knows in line with the tables as they stand now."""
    result = Settled()
    for table in TABLES:
        current = [canonical(row) for row in getattr(settings, table)]
        mine = [row for row in known if row.table == table]
        if not mine:
            result.rows += [KnownRow(table, row) for row in dict.fromkeys(current)]
            continue
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
    live = {row.row: row for row in known if row.until is None}
    names = {_part(row.row, _NAMES[table]) for row in known}
    gone = [row for text, row in live.items() if text not in set(current)]
    kept = [row for row in known if row not in gone]
    for text in (text for text in current if text not in live):
        new = json.loads(text)
        older = next((row for row in gone if _replaces(table, new, json.loads(row.row))), None)
        if older is not None:
            gone.remove(older)
            kept.append(KnownRow(table, text, older.since))
            result.spans.append(_span(new, json.loads(older.row)))
        elif new.get("valid_from") or new.get("from_ms"):
            kept.append(KnownRow(table, text))
            result.spans.append(_span(new, new))
        elif _part(text, _NAMES[table]) not in names:
            kept.append(KnownRow(table, text))
            result.new_names.append((table, str(new[_NAMES[table]])))
        else:
            kept.append(KnownRow(table, text, today + timedelta(days=1)))
    result.rows += kept + [replace(row, until=today) for row in gone]


def _replaces(table: str, new: Mapping[str, Any], old: Mapping[str, Any]) -> bool:
    """Whether ``new`` is ``old`` given an end, or a dated row put right."""
    if any(new[key] != old[key] for key in _KEYS[table]):
        return False
    dated = bool(new.get("valid_from") or new.get("from_ms"))
    same_start = all(new.get(key) == old.get(key) for key in ("valid_from", "from_ms"))
    ends = {"valid_to", "to_ms"}
    only_ended = same_start and all(new[key] == old[key] for key in new if key not in ends)
    return only_ended or (dated and same_start)


def _span(new: Mapping[str, Any], old: Mapping[str, Any]) -> tuple[date, date | None]:
    """Days that an edit touches: for a mere end, those after it; else from the row's start."""
    ends = {"valid_to", "to_ms"}
    if new is not old and all(new[key] == old[key] for key in new if key not in ends):
        ended = [_day(row.get("valid_to"), row.get("to_ms")) for row in (new, old)]
        return min((day for day in ended if day), default=date.min), None
    first = _day(new.get("valid_from"), new.get("from_ms")) or date.min
    return first, _day(new.get("valid_to"), new.get("to_ms"))


def _day(text: str | None, at_ms: int | None) -> date | None:
    if text:
        return date.fromisoformat(text)
    # A day early is no harm: it is only computed again.
    return None if at_ms is None else date.fromordinal(719_163 + at_ms // 86_400_000 - 1)


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


def _part(text: str, key: str) -> str:
    return str(json.loads(text)[key]).casefold()


Lookup = Callable[[str, str], set[date]]


def touched_days(settled: Settled, first: date, today: date, days_with: Lookup) -> set[date]:
    """The business days from ``first`` on that the edit changes. ``days_with`` tells the days that
    hold rows of a (table, name)."""
    days: set[date] = set()
    for lo, hi in settled.spans:
        start, end = max(lo, first), min(hi or today, today)
        days |= {start + timedelta(days=n) for n in range((end - start).days + 1)}
    for table, name in settled.new_names:
        days |= days_with(table, name)
    return days
