"""What an adapter read, checked where it enters, as columns of the store's table of movements."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Any

from pydantic import BaseModel, ConfigDict, create_model

from unrung.records import AnyRecord, Batch, Record, Reject
from unrung.store.movement_values import Columns, columns_of, joined

NO_ROWS: Columns = {"line": []}


def checked(batches: Iterable[Batch]) -> Columns:
    """The rows of ``batches``, every value checked against its field of the record (pydantic), a column in
    one go. Raises pydantic.ValidationError where a reader gives what no record may hold."""
    parts = [columns_of(batch.kind, _checked(batch)) for batch in batches if batch.columns["line"]]
    return joined(parts) if parts else NO_ROWS


def batches_of(rows: Iterable[AnyRecord | Reject]) -> Iterator[Batch]:
    """Batches of an adapter that gives row after row."""
    for kind, some in groupby(rows, key=type):
        if issubclass(kind, Record):
            records = list(some)
            yield Batch(kind, {name: [getattr(record, name) for record in records]
                               for name in kind.model_fields})
        else:
            yield Batch(Record, {"line": ()}, [row for row in some if isinstance(row, Reject)])


def only(columns: Columns, numbers: Sequence[int]) -> Columns:
    """The rows of those numbers, in their order."""
    return {name: [values[number] for number in numbers] for name, values in columns.items()}


def _checked(batch: Batch) -> Mapping[str, Sequence[Any]]:
    made = _columns_model(batch.kind).model_validate(dict(batch.columns))
    fields: dict[str, Sequence[Any]] = {name: getattr(made, name) for name in batch.columns}
    lengths = {len(values) for values in fields.values()}
    if len(lengths) > 1:
        raise ValueError(f"columns of {sorted(lengths)} rows")
    return fields


@lru_cache(maxsize=8)
def _columns_model(kind: type[Record]) -> type[BaseModel]:
    """A model of ``kind`` in which every field is the list of its values."""
    fields: dict[str, Any] = {
        name: (list[field.annotation], ...) if field.is_required() else (list[field.annotation], [])  # type: ignore[name-defined]
        for name, field in kind.model_fields.items()
    }
    return create_model(f"{kind.__name__}Columns", __config__=ConfigDict(extra="forbid"), **fields)
