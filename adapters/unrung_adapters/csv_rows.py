"""Reads exports of comma-separated values and their kin (RFC 4180, any single delimiter)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from itertools import chain, islice
from operator import attrgetter

from unrung.errors import ExportError, IncompleteExport
from unrung.mapping import Formats, Mapping
from unrung.records import AnyRecord, Batch, Export, Reject
from unrung_adapters.bad_value import rejected
from unrung_adapters.batches import ROWS, Texts, columns_of, rows_of
from unrung_adapters.build import column_builder
from unrung_adapters.cells import named_cells
from unrung_adapters.check import refuse_bad_mapping
from unrung_adapters.columns import Columns, columns
from unrung_adapters.decode import decoded
from unrung_adapters.notes import ReadNotes
from unrung_adapters.stray_quotes import swallowed_rows, unclosed_quote
from unrung_adapters.unpack import unpacked

CELL_LIMIT = 65_536
"""Characters in one cell; more is a quote left open, or the wrong delimiter."""


_Row = tuple[int, int, list[str]]
"""First and last physical line, from 1, and the cells."""


def read(
    export: Export, mapping: Mapping, notes: ReadNotes | None = None
) -> Iterator[AnyRecord | Reject]:
    """The records and rejected rows of a CSV export, in file order.

    ``line`` is the physical line at which a row begins. Raises ``ExportError`` where the file as a
    whole cannot be trusted, possibly after some rows, ``IncompleteExport`` where it looks cut off,
    and ``ConfigError`` where the mapping itself is wrong.
    """
    return rows_of(batches(export, mapping, notes))


def batches(export: Export, mapping: Mapping, notes: ReadNotes | None = None) -> Iterator[Batch]:
    """The same rows some thousands at a time, column by column."""
    refuse_bad_mapping(mapping, "csv")
    text = decoded(export.name, unpacked(export, mapping), mapping.formats.encoding)
    rows = _rows(export.name, text, mapping.formats)
    top = next(rows, None)
    if top is None:
        raise ExportError(
            "has nothing below the skipped lines", name=export.name, fix="Check formats.skip_lines."
        )
    line, _, header = top
    if not mapping.formats.header:
        header = [str(number) for number in range(1, len(header) + 1)]
        rows = chain([top], rows)
    found = columns(export.name, line, header, mapping)
    notes = notes or ReadNotes()
    notes.columns = tuple(map(str.strip, header)) if mapping.formats.header else ()
    final = 0 if text.endswith(("\n", "\r")) else sum(1 for _ in io.StringIO(text, newline=""))
    yield from _Reading(export, mapping, notes, found, final).batches(rows)


class _Reading:
    """One export on its way. ``final``: its last physical line where that has no line end, else 0."""

    def __init__(
        self, export: Export, mapping: Mapping, notes: ReadNotes, found: Columns, final: int
    ) -> None:
        self._name, self._mapping, self._notes, self._found, self._final = (
            export.name, mapping, notes, found, final)
        self._kind, self._build = column_builder(mapping, export.received_ms, notes)

    def batches(self, rows: Iterator[_Row]) -> Iterator[Batch]:
        """What came before a row that the export stumbles over is given before that is raised."""
        width, skips, delimiter = self._found.width, self._found.skips, self._mapping.formats.delimiter
        kept, turned = list[_Row](), self._found.turned
        rejects: list[Reject] = []
        try:
            for row in rows:
                first, last, cells = row
                if skips is not None and skips(cells):
                    self._notes.skipped += 1
                    continue
                if last > first and swallowed_rows(cells, width, delimiter):
                    raise _swallowed(self._name, first, last)
                if len(cells) == width:
                    kept += [row] if turned is None else [(first, last, held) for held in turned(cells)]
                    if len(kept) >= ROWS:
                        yield self._batch(kept, rejects)
                        kept, rejects = [], []
                else:
                    self._put_aside(row, _wrong_width(first, len(cells), width), rejects)
        except ExportError:
            yield self._batch(kept, rejects)
            raise
        yield self._batch(kept, rejects)

    def _batch(self, rows: list[_Row], rejects: list[Reject]) -> Batch:
        if not rows:
            return Batch(self._kind, {"line": ()}, rejects)
        lines, _, cells = zip(*rows, strict=True)
        texts = Texts(lines, self._found.fields(cells))
        made, bad = columns_of(self._build, texts, list(map(self._found.raw, cells)))
        for number, error in bad.items():
            shown = named_cells(self._mapping, self._found.texts(cells[number]))
            self._put_aside(rows[number], rejected(lines[number], error, shown), rejects)
        return Batch(self._kind, made, sorted(rejects, key=attrgetter("line")))

    def _put_aside(self, row: _Row, reject: Reject, rejects: list[Reject]) -> None:
        """A row that cannot be read: passed over where it is blank or the header again."""
        first, last, cells = row
        if cells[: self._found.width] == self._found.names or not any(map(str.strip, cells)):
            self._notes.skipped += 1
        elif last == self._final and len(cells) < self._found.width:
            raise _cut_off(self._name, first, len(cells), self._found.width)
        else:
            rejects.append(reject)


def _rows(name: str, text: str, formats: Formats) -> Iterator[_Row]:
    """The rows of a CSV text that are not blank lines."""
    csv.field_size_limit(CELL_LIMIT)  # Of the whole process, so set where it matters.
    lines = io.StringIO(text, newline="")  # Lines with whatever ends them, as they are.
    last = above = formats.skip_lines
    reader = csv.reader(
        islice(lines, above, None), delimiter=formats.delimiter, quotechar=formats.quote, strict=True
    )
    try:
        for cells in reader:
            first, last = last + 1, above + reader.line_num
            if cells:
                yield first, last, cells
    except csv.Error as error:
        failed_at = above + reader.line_num
        told = list(islice(io.StringIO(text, newline=""), last, failed_at))
        at_end = "unexpected end of data" in str(error)
        raise unclosed_quote(name, told, last + 1, at_end, formats) from error


def _wrong_width(line: int, cells: int, width: int) -> Reject:
    return Reject(
        line, "row", f"{cells} cells",
        f"has {cells} cells where the header has {width}",
        "Look at this line for a missing or an unquoted delimiter. If every row is like this, the "
        "header is at fault: set formats.header = false and skip_lines, and map columns by number.",
        {},
    )


def _cut_off(name: str, line: int, cells: int, width: int) -> IncompleteExport:
    return IncompleteExport(
        f"the last line has no line end and {cells} cells in place of {width}", name=name, line=line,
        field="row", fix="Wait until the file is written whole. If it ends in a footer, name that "
        "under formats.skip_rows.",
    )


def _swallowed(name: str, first: int, last: int) -> ExportError:
    return ExportError(
        f"a quoted cell of this row goes on to line {last} and holds what look like rows", name=name,
        line=first, field="row", fix="Remove the stray quote on this line, or double it.",
    )
