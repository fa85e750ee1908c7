"""The shape of a CSV export: delimiter, quote, lines above the header, the header, footers."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

from unrung.mapping import RowFilter
from unrung.setup.sheet import Column, Sheet

_DELIMITERS = (",", ";", "\t", "|")
_LOOKED_AT = 400
"""Lines that decide about the delimiter."""
_MOMENT = re.compile(r"\d{1,2}[:.]\d\d|\d{4}-\d\d")
_FIGURE = re.compile(r"^[-+(]?[\d.,]+\)?$")


@dataclass(frozen=True, slots=True)
class CsvShape:
    """How to cut the text into cells."""

    delimiter: str
    quote: str
    skip_lines: int
    header: tuple[str, ...]
    """Names of the columns; their positions from 1 where the file has no header."""
    has_header: bool
    skips: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Rows to pass over: a column, and what it then holds."""
    below: tuple[str, ...] = ()
    """The cells of a second line of headings, such as units."""


def csv_shape(text: str) -> CsvShape | None:
    """The likeliest shape of ``text`` but for its footers; None where no delimiter cuts it into columns."""
    head = "".join(text.splitlines(keepends=True)[:_LOOKED_AT])
    best: tuple[float, int, CsvShape] | None = None
    for quote in ('"', "'"):
        for delimiter in _DELIMITERS:
            found = _tried(head, delimiter, quote)
            if found and (best is None or found[:2] > best[:2]):
                best = found
    if best is None:
        return None
    return _with_second_heading(text, best[2])


def csv_sheet(texts: Sequence[str], shape: CsvShape) -> Sheet:
    """The rows of all files; rows of another width, repeated headers and footers are left out."""
    rows: list[list[str]] = []
    starts = [0]
    for text in texts:
        rows += _body(text, shape)
        starts.append(len(rows))
    titles = [" ".join(filter(None, pair)) for pair in zip_longest(shape.header, shape.below, fillvalue="")]
    columns = [
        Column(name, titles[index], [row[index] for row in rows]) for index, name in enumerate(shape.header)
    ]
    return Sheet([column for column in columns if column.name], starts)


def _tried(head: str, delimiter: str, quote: str) -> tuple[float, int, CsvShape] | None:
    """(share of rows of the usual width, that width, shape) for one way to cut."""
    rows = _cut(head, delimiter, quote)
    if not rows:
        return None
    widths = Counter(len(row) for _, row in rows)
    width, count = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
    if width < 2:
        return None
    first = _first_full(rows, width)
    line, top = rows[first]
    names = tuple(cell.strip() for cell in top)
    below = [row for _, row in rows[first + 1 :] if len(row) == width and row != top]
    has_header = _looks_like_header(top, below)
    header = names if has_header else tuple(str(n) for n in range(1, width + 1))
    cells = [cell for _, row in rows for cell in row]
    quoted = sum(len(cell) > 1 and cell[0] == cell[-1] and cell[0] in "\"'" for cell in cells)
    quoted += sum(cell.startswith(quote) for cell in cells)
    share = count / len(rows) - 0.001 * quoted - 0.0001 * (quote != '"')
    if first > max(5, len(rows) // 3):
        share -= 0.5
    return share, width, CsvShape(delimiter, quote, line, header, has_header)


def _first_full(rows: list[tuple[int, list[str]]], width: int) -> int:
    """Index of the header: the first row of the usual width that is not a title in one of its cells."""
    filled = [sum(bool(cell.strip()) for cell in row) if len(row) == width else 0 for _, row in rows]
    usual = sorted(count for count in filled if count)[len([c for c in filled if c]) // 2]
    return next(index for index, count in enumerate(filled) if count >= 0.6 * usual)


def _cut(text: str, delimiter: str, quote: str) -> list[tuple[int, list[str]]]:
    """Rows that are not blank, each with the number of physical lines above it."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, quotechar=quote)
    rows, above = [], 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((above, cells))
            above = reader.line_num
    except csv.Error:
        return []
    return rows


def _looks_like_header(top: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """A header has different words and no figures, and does not come again as data."""
    cells = [cell.strip() for cell in top]
    filled = [cell for cell in cells if cell]
    if len(set(filled)) < len(filled) or len(filled) < len(cells) - 2:
        return False
    if any(map(_MOMENT.search, filled)):
        return False
    if any(map(_FIGURE.search, filled)) and not _is_over_times(cells, below):
        return False
    return not below or any(
        cell not in {row[index].strip() for row in below} for index, cell in enumerate(cells) if cell
    )


def _is_over_times(top: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """Whether a word stands over nothing but times: then figures beside it are names, such as taps'."""
    return len(below) > 2 and any(
        cell and not _FIGURE.search(cell) and all(_MOMENT.search(row[index]) for row in below)
        for index, cell in enumerate(top)
    )


def rows_below(text: str, shape: CsvShape) -> list[list[str]]:
    """What stands below the header, of whatever width, but for blank lines."""
    lines = text.splitlines(keepends=True)[shape.skip_lines :]
    return [row for _, row in _cut("".join(lines), shape.delimiter, shape.quote)[int(shape.has_header) :]]


def _body(text: str, shape: CsvShape) -> list[list[str]]:
    width, found = len(shape.header), []
    for row in rows_below(text, shape):
        repeated = shape.has_header and tuple(cell.strip() for cell in row) == shape.header
        if len(row) == width and not repeated and not _is_passed_over(row, shape):
            found.append(row)
    return found


def _is_passed_over(row: Sequence[str], shape: CsvShape) -> bool:
    return any(
        RowFilter(column=column, values=values).passes_over(row[shape.header.index(column)].strip())
        for column, values in shape.skips
    )


def _with_second_heading(text: str, shape: CsvShape) -> CsvShape:
    """A line below the header without a figure, over columns of figures: its cell in the first of those
    is what tells it from the rows."""
    rows = _body("".join(text.splitlines(keepends=True)[: shape.skip_lines + _LOOKED_AT]), shape)
    if not shape.has_header or len(rows) < 4 or any(map(_has_figure, rows[0])):
        return shape
    figures = [
        index for index, cell in enumerate(rows[0])
        if shape.header[index] and cell.strip() and all(_has_figure(row[index]) for row in rows[1:-1])
    ]
    if len(figures) < 2:
        return shape
    below = tuple(cell.strip() for cell in rows[0])
    return replace(shape, below=below, skips=((shape.header[figures[0]], (below[figures[0]],)),))


def _has_figure(cell: str) -> bool:
    return any(letter.isdigit() for letter in cell)
