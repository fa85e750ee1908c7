"""Exports in which every line is a JSON document of its own, read as the array of them."""

from __future__ import annotations

from typing import Any, NamedTuple

from unrung.errors import ExportError, IncompleteExport
from unrung_adapters.bad_value import BadValue
from unrung_adapters.documents import document

_FIX = "Look at this line in the source."


class Unread(NamedTuple):
    """Stands in the array for a line that is no JSON, so that the rows around it are read."""

    bad: BadValue


def documents_by_line(name: str, text: str) -> list[Any]:
    """The document of every line that is not blank, ``Unread`` for a line that is none.

    Raises ``ExportError`` where no line can be read, ``IncompleteExport`` where the last one has no
    line end and stops too early.
    """
    lines = text.split("\n")
    found: list[Any] = []
    first: ExportError | None = None
    for number, line in enumerate(lines, 1):
        if line.strip():
            try:
                found.append(document(name, line))
            except ExportError as error:
                if isinstance(error, IncompleteExport) and number == len(lines) and found:
                    raise IncompleteExport(error.reason, name=name, line=number, fix=error.fix) from error
                first = first or error
                found.append(Unread(BadValue("row", error.value, error.reason, error.fix or _FIX)))
    if first and all(isinstance(one, Unread) for one in found):
        raise first
    return found


def refuse_unread(name: str, documents: list[Any]) -> None:
    """For rows that lie deeper than one to a line: raises ``ExportError`` at the first bad line."""
    for number, one in enumerate(documents, 1):
        if isinstance(one, Unread):
            raise ExportError(one.bad.reason, name=name, line=number, value=one.bad.value, fix=one.bad.fix)
