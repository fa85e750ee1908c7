"""A table as the bytes of a CSV file (RFC 4180), safe and clean to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import lru_cache
from itertools import chain
from operator import itemgetter

from unrung.file_settings import Files
from unrung.issue.table import Cell, Table

FORMULA_STARTS = frozenset("=+-@\t\r\n\0＝＋－＠")
"""First characters that a spreadsheet may take for a formula: OWASP ASVS 5.0, 1.2.10 (= + - @ TAB
NUL), CWE-1236; CR, LF and the full-width forms from OWASP's page on CSV injection (from memory)."""


def decimal_mark(files: Files) -> str:
    """The decimal mark of issued files. A spreadsheet that splits at ";" reads 16.000 as sixteen
    thousand, so the comma is the default there."""
    return files.csv_decimal or ("," if files.csv_delimiter == ";" else ".")


def csv_bytes(table: Table, files: Files) -> bytes:
    """``table`` with a header row, CRLF line ends, quotes where needed, in UTF-8.

    Raises KeyError when a row lacks a column.
    """
    mark = decimal_mark(files)
    names = [column.name for column in table.columns]
    cells = itemgetter(*names) if len(names) > 1 else lambda row: (row[names[0]],)
    rows = ([printed(cell, mark) for cell in cells(row)] for row in table.rows)
    return _written(chain([names], rows), files)


def with_column(content: bytes, name: str, cell: Cell, files: Files) -> bytes:
    """``content``, which ``csv_bytes`` made, with another cell in a column of every row."""
    text = io.StringIO(content.decode("utf-8-sig"), newline="")
    names, *rows = csv.reader(text, delimiter=files.csv_delimiter)
    place, told = names.index(name), printed(cell, decimal_mark(files))
    for row in rows:
        row[place] = told
    return _written([names, *rows], files)


def _written(rows: Iterable[Sequence[str]], files: Files) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=files.csv_delimiter, lineterminator="\r\n").writerows(rows)
    start = "\ufeff" if files.csv_bom else ""
    # A lone surrogate, which JSON can smuggle in, must not keep the day from being issued.
    return (start + out.getvalue()).encode("utf-8", "replace")


def printed(cell: Cell, mark: str) -> str:
    """One cell as text: numbers plain, text guarded, nothing as nothing."""
    if type(cell) is Decimal:
        text = str(cell)  # in half the time of a format
        if "E" in text:
            text = f"{cell:f}"
        return text if mark == "." else text.replace(".", mark)
    if type(cell) is int:
        return str(cell)
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, str):
        return guarded(cell)
    return format(Decimal(cell), "f").replace(".", mark)


@lru_cache(maxsize=4096)
def guarded(text: str) -> str:
    """``text`` with a leading apostrophe where a spreadsheet might run it as a formula, also behind
    blanks that a spreadsheet trims.

    >>> guarded("=1+1"), guarded(" @x"), guarded("Pale ale"), guarded("")
    ("'=1+1", "' @x", 'Pale ale', '')
    """
    starts = {text[:1], text.lstrip()[:1]}
    return "'" + text if starts & FORMULA_STARTS else text
