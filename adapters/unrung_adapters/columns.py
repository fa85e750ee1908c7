"""Where the mapped fields stand in a CSV's rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from unrung.errors import ExportError
from unrung.mapping import Mapping
from unrung_adapters.cells import (
    Cells,
    columns_taker,
    raw_taker,
    skipper,
    texts_taker,
    told_apart,
    wanted,
)
from unrung_adapters.tap_columns import made_columns, turner, with_cells

_FORMATS = ("skip_rows", "tap_columns")
"""Where columns are named that are no field's."""


@dataclass(frozen=True, slots=True)
class Columns:
    """How to take a row of ``width`` cells apart."""

    names: Cells
    width: int
    texts: Callable[[Cells], tuple[str, ...]]
    """The texts of all fields of one row, to show them."""
    fields: Callable[[Sequence[Cells]], dict[str, Sequence[str]]]
    raw: Callable[[Cells], str]
    skips: Callable[[Cells], bool] | None
    turned: Callable[[Cells], list[Cells]] | None
    """The rows that a row of meters with a column for each tap holds."""


def columns(name: str, line: int, header: Cells, mapping: Mapping) -> Columns:
    """The columns of a file whose header stands at ``line``.

    Raises ``ExportError`` where a mapped column is not there, or is there twice.
    """
    names, used = [cell.strip() for cell in header], wanted(mapping)
    made = made_columns(mapping)
    _check(name, line, names, {column: used[column] for column in used if column not in made}, mapping.feed)
    _check(name, line, names, dict.fromkeys(mapping.formats.tap_columns, "tap_columns"), mapping.feed)
    skipped = {rule.column: "skip_rows" for rule in mapping.formats.skip_rows}
    _check(name, line, names, skipped, mapping.feed)
    at, width = with_cells(mapping, {column: index for index, column in enumerate(names)}, len(header))
    return Columns(
        header, len(header), texts_taker(mapping, at, width), columns_taker(mapping, at),
        raw_taker([at[column] for column in told_apart(used)]), skipper(mapping, at), turner(mapping, at),
    )


def _check(name: str, line: int, names: Cells, used: dict[str, str], feed: str) -> None:
    counts = Counter(names)
    for column, field in used.items():
        if not counts[column]:
            raise _no_column(name, line, names, column, field, feed)
        if counts[column] > 1:
            raise ExportError(
                f"has {counts[column]} columns named {column!r}", name=name, line=line, field=field,
                fix="Rename one of them at the source, or set formats.header = false and "
                "skip_lines, and map columns by number.",
            )


def _no_column(
    name: str, line: int, names: Cells, column: str, field: str, feed: str
) -> ExportError:
    near = get_close_matches(column, names, 1)
    guess = f"Did you mean {near[0]!r}? " if near else ""
    if len(names) == 1:
        guess += "There is only one column: is formats.delimiter right? "
    shown = ", ".join(repr(each[:40]) for each in names[:40])
    new = (
        f"write that under [feed.formats] {field}" if field in _FORMATS else
        f"set {field} = to that under [feed.fields]"
    )
    return ExportError(
        f"has no column {column!r}", name=name, line=line, field=field,
        fix=f"{guess}If it has a new name, {new} of feed {feed!r} in venue.toml. Columns that are there: "
        f"{shown}.",
    )
