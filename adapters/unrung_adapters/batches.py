"""Rows read column by column: texts in, values out, each bad row with the first thing wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from heapq import merge
from itertools import compress
from operator import attrgetter
from typing import Any, TypeVar

from unrung.records import AnyRecord, Batch, Record, Reject
from unrung_adapters.bad_value import BadValue

ROWS = 4096
"""Rows of one batch: enough that a batch costs nothing, few enough that it is not felt in memory."""

Bad = dict[int, BadValue]
"""Number of a row within its batch to what is wrong with it."""
Columns = dict[str, Sequence[Any]]
Given = TypeVar("Given")
Made = TypeVar("Made")


class Texts:
    """The texts of a batch by field of the mapping."""

    def __init__(self, lines: Sequence[int], columns: Mapping[str, Sequence[str]]) -> None:
        self.lines, self._columns = lines, columns

    def __contains__(self, field: str) -> bool:
        return field in self._columns

    def __getitem__(self, field: str) -> Sequence[str]:
        """As the source has them; "" in every row where the field is not mapped."""
        return self._columns[field] if field in self._columns else [""] * len(self.lines)

    def bare(self, fields: Mapping[str, str]) -> Columns:
        """Texts without blanks around them; ``fields``: of the mapping to that of the record."""
        return {
            name: [text.strip() for text in self._columns[field]]
            for field, name in fields.items() if field in self._columns
        }


BuildColumns = Callable[[Texts, Bad], Columns]
"""Values of a batch's rows by field of the record; rows that cannot be read are noted as bad, and have some
value or other. It keeps the order of times, so batches go through it in the order of the file."""


def apart(read: Callable[[Given], Made], texts: Sequence[Given], bad: Bad) -> Sequence[Made | None]:
    """Like ``each``, for a ``read`` that remembers nothing of the rows before: in one go where all can be
    read, as is usual."""
    try:
        return list(map(read, texts))
    except BadValue:
        return each(read, texts, bad)


def each(read: Callable[[Given], Made], texts: Sequence[Given], bad: Bad) -> list[Made | None]:
    """What ``read`` makes of each text; None where it cannot be read. What is wrong with a row already stays
    what is wrong with it."""
    found: list[Made | None] = []
    for number, text in enumerate(texts):
        try:
            found.append(read(text))
        except BadValue as error:
            bad.setdefault(number, error)
            found.append(None)
    return found


def required(field: str, texts: Texts, bad: Bad) -> list[str]:
    """The texts of a field without blanks around them; a row without one is bad."""
    found = [text.strip() for text in texts[field]]
    if not all(found):
        for number, text in enumerate(found):
            if not text:
                bad.setdefault(number, empty(field, texts[field][number]))
    return found


def empty(field: str, text: str) -> BadValue:
    return BadValue(field, text, "is empty", "Fill it in at the source, or map another column.")


def by_row(order: Sequence[str], build: Callable[[tuple[str, ...]], Record]) -> BuildColumns:
    """Columns by way of records, for kinds of which there are few rows. ``build``: from the texts of one
    row, in ``order``, to its record."""

    def columns(texts: Texts, bad: Bad) -> Columns:
        records = each(build, list(zip(*(texts[field] for field in order), strict=True)), bad)
        good = next((record for record in records if record is not None), None)
        if good is None:
            return {}
        names = [name for name in type(good).model_fields if name not in _OWN]
        values = map(attrgetter(*names), (record or good for record in records))
        return dict(zip(names, zip(*values, strict=True), strict=True))

    return columns


_OWN = {"line", "ref", "version", "raw"}
"""Fields of every record, which ``columns_of`` takes from the texts themselves."""


def columns_of(build: BuildColumns, texts: Texts, raws: Sequence[str]) -> tuple[Columns, Bad]:
    """The columns of the rows that can be read, and the others."""
    bad: Bad = {}
    columns: Columns = {"line": texts.lines, "raw": raws, **texts.bare({"id": "ref", "version": "version"})}
    columns |= build(texts, bad)
    if bad:
        good = [number not in bad for number in range(len(texts.lines))]
        columns = {name: list(compress(values, good)) for name, values in columns.items()}
    return columns, bad


def rows_of(batches: Iterable[Batch]) -> Iterator[AnyRecord | Reject]:
    """The records and rejects of batches, in the order of the file."""
    for batch in batches:
        names, make = tuple(batch.columns), batch.kind.__pydantic_validator__.validate_python
        records: Iterator[AnyRecord] = (
            make(dict(zip(names, row, strict=True))) for row in zip(*batch.columns.values(), strict=True)
        )
        yield from merge(records, batch.rejects, key=attrgetter("line"))
