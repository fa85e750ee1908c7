"""Reads exports that are JSON documents (RFC 8259) with an array of rows somewhere inside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from operator import attrgetter
from typing import Any

from unrung.mapping import Mapping
from unrung.records import AnyRecord, Batch, Export, Reject
from unrung_adapters.bad_value import BadValue, rejected
from unrung_adapters.batches import ROWS, Texts, columns_of, rows_of
from unrung_adapters.build import column_builder
from unrung_adapters.cells import (
    Cells,
    columns_taker,
    named_cells,
    raw_taker,
    skipper,
    texts_taker,
    told_apart,
    wanted,
)
from unrung_adapters.check import refuse_bad_mapping
from unrung_adapters.decode import decoded
from unrung_adapters.documents import document
from unrung_adapters.json_lines import Unread, documents_by_line, refuse_unread
from unrung_adapters.notes import ReadNotes
from unrung_adapters.numerals import SourceNumber
from unrung_adapters.pointers import MISSING, Place, compiled
from unrung_adapters.row_arrays import row_places
from unrung_adapters.tap_columns import made_columns, turner, with_cells
from unrung_adapters.unpack import unpacked

_NO_FIX = "Look at this row in the source."


def read(
    export: Export, mapping: Mapping, notes: ReadNotes | None = None
) -> Iterator[AnyRecord | Reject]:
    """The records and rejected rows of a JSON export, in document order.

    ``line`` is the ordinal of the row, from 1. Raises ``ExportError`` where the document as a whole
    cannot be read, ``IncompleteExport`` where it ends too early, and ``ConfigError`` where the
    mapping itself is wrong.
    """
    return rows_of(batches(export, mapping, notes))


def batches(export: Export, mapping: Mapping, notes: ReadNotes | None = None) -> Iterator[Batch]:
    """The same rows some thousands at a time, column by column."""
    refuse_bad_mapping(mapping, "json")
    text = decoded(export.name, unpacked(export, mapping), mapping.formats.encoding)
    whole = _whole_of(export.name, text, mapping)
    places = row_places(export.name, whole, mapping.formats.rows)
    yield from _batches(export, mapping, ReadNotes() if notes is None else notes, places)


def _whole_of(name: str, text: str, mapping: Mapping) -> Any:
    if not mapping.formats.json_lines:
        return document(name, text)
    found = documents_by_line(name, text)
    if mapping.formats.rows:
        refuse_unread(name, found)
    return found


def _batches(
    export: Export, mapping: Mapping, notes: ReadNotes, places: Iterator[Place]
) -> Iterator[Batch]:
    kind, build = column_builder(mapping, export.received_ms, notes)
    used = wanted(mapping)
    own = {column: field for column, field in used.items() if column not in made_columns(mapping)}
    used_cells = {**own, **dict.fromkeys(mapping.formats.tap_columns, "tap_columns")}
    cells_of, at = _cells_reader(mapping, used_cells)
    at, width = with_cells(mapping, at, len(at))
    fields_of, texts_of, all_of = columns_taker(mapping, at), texts_taker(mapping, at, width), raw_taker(
        range(len(used_cells)))
    raw_of = raw_taker([at[column] for column in told_apart(used)])
    skips, unseen, turned = skipper(mapping, at), dict(enumerate(own.values())), turner(mapping, at)

    def kept_aside(line: int, place: Place, cells: Cells, bad: BadValue) -> Reject:
        whole = [*cells, *[""] * (width - len(cells))]
        shown = named_cells(mapping, [*map(_escaped, texts_of(whole))]) if cells else {}
        return rejected(line, _plainer(bad, place), shown)

    numbered = enumerate(places, 1)
    while some := list(islice(numbered, ROWS)):
        kept: list[tuple[int, Place, Cells]] = []
        rejects: list[Reject] = []
        for line, place in some:
            cells: Cells = []
            try:
                found = cells_of(place)
                if skips is not None and skips(found):
                    notes.skipped += 1
                    continue
                for index in [index for index in unseen if found[index]]:
                    del unseen[index]
                cells, whole = found, all_of(found)
                if not whole.isascii() or "\0" in whole:
                    _check_characters(cells, used_cells)
                kept += [(line, place, held) for held in (turned(cells) if turned else (cells,))]
            except BadValue as bad:
                rejects.append(kept_aside(line, place, cells, bad))
        if kept:
            lines, _, rows = zip(*kept, strict=True)
            made, errors = columns_of(build, Texts(lines, fields_of(rows)), list(map(raw_of, rows)))
            rejects += [kept_aside(*kept[number], error) for number, error in errors.items()]
            yield Batch(kind, made, sorted(rejects, key=attrgetter("line")))
        else:
            yield Batch(kind, {"line": ()}, rejects)
    notes.absent += unseen.values()
    notes.present = tuple(field for field in own.values() if field not in notes.absent)


def _cells_reader(
    mapping: Mapping, used: dict[str, str]
) -> tuple[Callable[[Place], Cells], dict[str, int]]:
    """A function from a row's place to its cells, and where each pointer's cell stands."""
    fields = {**{rule.column: "skip_rows" for rule in mapping.formats.skip_rows}, **used}
    pointers = [*used, *(pointer for pointer in fields if pointer not in used)]
    follows = [compiled(pointer) for pointer in pointers]

    def cells_of(place: Place) -> Cells:
        if isinstance(place.values[-1], Unread):
            raise place.values[-1].bad
        found = [follow(place) for follow in follows]
        for index, value in enumerate(found):
            if type(value) is not str and type(value) is not SourceNumber:
                found[index] = _text(fields[pointers[index]], value)
        return found

    return cells_of, {pointer: index for index, pointer in enumerate(pointers)}


def _text(field: str, value: Any) -> str:
    if value is MISSING or value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):  # The index that a pointer such as "1#" asks for.
        return SourceNumber(value)
    kind = "an object" if isinstance(value, dict) else "an array"
    raise BadValue(field, "", f"holds {kind}, not a value", "Map a pointer that goes further down.")


def _escaped(text: str) -> str:
    """The text with halves of characters written out: what is kept must be UTF-8."""
    return text.encode("utf-8", "backslashreplace").decode()


def _check_characters(cells: Cells, used: dict[str, str]) -> None:
    for cell, field in zip(cells, used.values(), strict=False):
        if "\0" in cell:
            raise BadValue(field, _escaped(cell), "holds a NUL character", _NO_FIX)
        try:
            cell.encode()
        except UnicodeEncodeError:
            shown = cell.encode("ascii", "backslashreplace").decode()
            raise BadValue(field, shown, "holds half of a character", _NO_FIX) from None


def _plainer(bad: BadValue, place: Place) -> BadValue:
    if isinstance(place.values[-1], dict | list | Unread):
        return bad
    return BadValue("row", "", "is not an object", "Set formats.rows to the array of rows.")
