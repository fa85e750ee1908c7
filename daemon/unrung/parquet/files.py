"""Rows to the bytes of a Parquet file, and back: the only importer of pyarrow, loaded at first use."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from unrung.errors import UnrungError
from unrung.parquet.columns import Column, Table, columns_of

Row = Mapping[str, Any]


def require_pyarrow() -> None:
    """Raises UnrungError, with what to install, where pyarrow is missing."""
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError as error:
        raise UnrungError(
            "Parquet files need pyarrow, which is not installed. Install it beside Unrung: "
            "python -m pip install pyarrow (or unrung[parquet])."
        ) from error


def to_bytes(table: Table, rows: Iterable[Row], *, staff: bool = False) -> bytes:
    """The file that holds ``rows``, which go by the store's names; the same rows, the same bytes
    (under one version of pyarrow, whose name stands in each file)."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    listed, columns = list(rows), columns_of(table, staff=staff)
    schema = pa.schema([_field(column) for column in columns])
    arrays = [pa.array([row[column.of] for row in listed], _type(column)) for column in columns]
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=schema), out, compression="zstd")
    return out.getvalue()


def from_file(table: Table, path: Path) -> list[dict[str, Any]]:
    """The rows of one file by the store's names; none where it is missing. Names of staff are not read.

    Raises UnrungError where it is no such file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not path.exists():
        return []
    columns = columns_of(table)
    try:
        found = pq.ParquetFile(path).read([column.name for column in columns], use_threads=False)
        lists = [
            found.column(column.name).cast(_stored(column)).to_pylist() for column in columns
        ]
    except (pa.ArrowException, KeyError, OSError) as error:
        raise UnrungError(f"{path} cannot be read as {table}: {error}. Export it again.") from error
    names = [column.of for column in columns]
    return [dict(zip(names, values, strict=True)) for values in zip(*lists, strict=True)]


def _field(column: Column) -> Any:
    import pyarrow as pa

    return pa.field(column.name, _type(column), not column.needed, {"description": column.says})


def _type(column: Column) -> Any:
    import pyarrow as pa

    if column.kind == "time":
        return pa.timestamp("ms", "UTC")
    return pa.string() if column.kind == "text" else pa.int64()


def _stored(column: Column) -> Any:
    import pyarrow as pa

    return pa.string() if column.kind == "text" else pa.int64()
