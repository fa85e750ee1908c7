"""Meters that write a column for each tap: a row of theirs is as many rows as it has filled cells.

The reader gives every such row two more cells, which ``fields`` names as columns: the tap, and what stands
in its column.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

from unrung.mapping import AMOUNT_CELL, TAP_CELL, Constant, Mapping

Cells = list[str]
_TAPS, _AMOUNTS = ("tap", "meter"), ("volume", "total", "pulses")


def made_columns(mapping: Mapping) -> tuple[str, ...]:
    """The columns that the source does not have itself."""
    return (TAP_CELL, AMOUNT_CELL) if mapping.formats.tap_columns else ()


def turner(mapping: Mapping, at: dict[str, int]) -> Callable[[Cells], list[Cells]] | None:
    """A function from a row's cells to those of the rows that it holds: with the tap and the amount behind
    its own, for every tap whose cell is not blank. None where no column is a tap's.

    ``at``: where each column stands.
    """
    taps = [(at[column], tap) for column, tap in mapping.formats.tap_columns.items()]
    if not taps:
        return None
    return lambda cells: [[*cells, tap, cells[index]] for index, tap in taps if cells[index].strip()]


def with_cells(mapping: Mapping, at: dict[str, int], width: int) -> tuple[dict[str, int], int]:
    """Where each column of a turned row stands, and how many cells it has; ``at``, ``width``: of the row as
    the source has it."""
    if not mapping.formats.tap_columns:
        return at, width
    return {**at, TAP_CELL: width, AMOUNT_CELL: width + 1}, width + 2


def tap_column_problems(mapping: Mapping) -> Iterator[str]:
    """Sentences about settings of tap columns that cannot work."""
    taps = mapping.formats.tap_columns
    sources = {field: source for field, source in mapping.fields.items() if not isinstance(source, Constant)}
    uses = {cell: [field for field, source in sources.items() if cell in source]
            for cell in (TAP_CELL, AMOUNT_CELL)}
    if not taps:
        for cell, fields in uses.items():
            if fields:
                yield (f"the field {fields[0]!r} is mapped to {cell!r}, but no column is a tap's; name them "
                       "under formats.tap_columns.")
        return
    if mapping.carries not in ("pours", "readings"):
        yield f"formats.tap_columns are of meters; {mapping.carries} have none. Take it out."
        return
    for cell, fields, choices in (
        (TAP_CELL, uses[TAP_CELL], _TAPS), (AMOUNT_CELL, uses[AMOUNT_CELL], _AMOUNTS),
    ):
        if not set(fields) & set(choices):
            yield (f"formats.tap_columns is set, but no field is mapped to {cell!r}; map one of "
                   f"{', '.join(choices)} to it.")
    for tap in sorted(tap for tap, count in Counter(taps.values()).items() if count > 1):
        yield f"formats.tap_columns names tap {tap!r} for two columns; give each column a tap of its own."
