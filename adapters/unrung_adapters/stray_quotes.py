"""Finding the quote that was opened and not closed: it makes one cell of many rows."""

from __future__ import annotations

import re
from collections.abc import Sequence

from unrung.errors import ExportError, IncompleteExport
from unrung.mapping import Formats


def unclosed_quote(
    name: str, lines: Sequence[str], first: int, at_end: bool, formats: Formats
) -> ExportError:
    """What to say of a row that the parser could not finish.

    ``lines`` are its physical lines up to the failure, the first of them being line ``first``;
    ``at_end``: the failure is the end of the file. A quote opened on the very last line is more
    likely a file cut off than a stray mark. The line itself is not shown: it may hold names.
    """
    opened = _opened_at("".join(lines), formats)
    if opened is None:
        return ExportError(
            "a cell of this row is too long to be one", name=name, line=first,
            fix="Check formats.delimiter, and whether this file is text at all.",
        )
    line = first + opened
    if at_end and opened == len(lines) - 1:
        return IncompleteExport(
            "ends inside a quoted cell", name=name, line=line,
            fix="Wait until the file is written whole, or export it again.",
        )
    return ExportError(
        "a quote that opens on this line is not closed as it should be", name=name, line=line,
        fix="Remove the stray quote, or double it; check formats.quote and formats.delimiter.",
    )


def swallowed_rows(row: Sequence[str], width: int, delimiter: str) -> bool:
    """Whether a cell of this row holds what looks like whole rows, as behind a stray quote.

    Only lines strictly inside a cell count: its first and last line share theirs with other cells.
    """
    if len(row) != width:
        return True
    return width > 2 and any(
        line.count(delimiter) == width - 1 for cell in row for line in cell.splitlines()[1:-1]
    )


def _opened_at(text: str, formats: Formats) -> int | None:
    """Index of the line on which the last quoted cell of ``text`` opens (RFC 4180, section 2)."""
    quote, delimiter = re.escape(formats.quote), re.escape(formats.delimiter)
    cell = re.compile(
        f"(?:{quote}((?:[^{quote}]|{quote}{quote})*){quote}?|[^{delimiter}\r\n]*)"
        f"(?:{delimiter}|\r\n?|\n|$)?"
    )
    opened, position = None, 0
    while position < len(text):
        found = cell.match(text, position)
        if found is None or found.end() == position:
            break
        if found[1] is not None:
            opened = position
        position = found.end()
    return None if opened is None else len(re.findall("\r\n?|\n", text[:opened]))
