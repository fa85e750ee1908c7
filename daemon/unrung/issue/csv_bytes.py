"""A table as the bytes of a CSV file (RFC 4180), safe and clean to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from functools import lru_cache

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
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=files.csv_delimiter, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([printed(row[name], mark) for name in names] for row in table.rows)
    start = "\ufeff" if files.csv_bom else ""
    # A lone surrogate, which JSON can smuggle in, must not keep the day from being issued.
    return (start + out.getvalue()).encode("utf-8", "replace")


def printed(cell: Cell, mark: str) -> str:
    """One cell as text: numbers plain, text guarded, nothing as nothing."""
    if type(cell) is Decimal:
        return f"{cell:f}" if mark == "." else f"{cell:f}".replace(".", mark)
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
