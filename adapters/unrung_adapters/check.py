"""Whether a mapping can be read by at all: its own mistakes, before any export is looked at."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from unrung.errors import ConfigError
from unrung.mapping import AMOUNT_CELL, FIELDS, TAP_CELL, Constant, Mapping
from unrung_adapters.check_formats import format_problems
from unrung_adapters.check_kinds import kind_problems
from unrung_adapters.pointers import compiled, tokens
from unrung_adapters.tap_columns import tap_column_problems

_VOLUMES = ("volume", "total", "part")
_VARYING = ("id", "at", "start", "end")


def check_mapping(mapping: Mapping, adapter: str = "") -> list[str]:
    """The problems of a declared mapping, as sentences that name the feed and the fix.

    With ``adapter`` ("csv" or "json") the ways to the columns are checked too, as far as that goes
    without an export.
    """
    found = [*_field_problems(mapping), *kind_problems(mapping), *format_problems(mapping),
             *tap_column_problems(mapping)]
    if adapter == "json":
        found += _pointer_problems(mapping)
    return [f"Feed {mapping.feed!r}: {problem}" for problem in found]


def refuse_bad_mapping(mapping: Mapping, adapter: str) -> None:
    """Raises ``ConfigError`` with every problem of the mapping, if there are any."""
    problems = check_mapping(mapping, adapter)
    if problems:
        raise ConfigError(problems)


def _field_problems(mapping: Mapping) -> Iterator[str]:
    known = FIELDS[mapping.carries]
    for field, source in mapping.fields.items():
        if field not in known:
            near = get_close_matches(field, known, 1)
            guess = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}."
            yield f"{mapping.carries} have no field {field!r}; {guess}"
        elif not isinstance(source, Constant) and not source:
            yield f"the field {field!r} is mapped to no column; name one, or leave the field out."
        elif isinstance(source, Constant) and field in _VARYING:
            yield f"the field {field!r} is the same for every row; map it to a column."
    for field, needed in known.items():
        if needed and field not in mapping.fields:
            yield f"the field {field!r} is not mapped; {mapping.carries} need it."
    yield from _either_or(mapping)
    for field in _VOLUMES:
        if field in mapping.fields and field in known and mapping.formats.volume_unit is None:
            yield f"the field {field!r} is a volume without a unit; set formats.volume_unit."


def _either_or(mapping: Mapping) -> Iterator[str]:
    fields = mapping.fields

    def lacks(*names: str) -> bool:
        return not any(name in fields for name in names)

    if mapping.carries == "pours":
        if lacks("tap", "meter"):
            yield "map 'tap' or 'meter'; pours need to say where they flowed."
        if sum(name in fields for name in ("start", "end", "duration")) < 2:
            yield "map two of 'start', 'end' and 'duration'; a pour needs both its ends."
        if lacks("volume", "pulses"):
            yield "map 'volume' or 'pulses'; pours need to say how much flowed."
    if mapping.carries == "readings" and lacks("total", "pulses"):
        yield "map 'total' or 'pulses'; readings need a count."
    if mapping.carries == "log":
        if lacks("at", "day"):
            yield "map 'at' or 'day'; a log entry needs a time or a day."
        if lacks("volume", "item") and fields.get("reason") != Constant(const="cleaning"):
            yield "map 'volume' or 'item'; a log entry needs to say how much it was."


def _pointer_problems(mapping: Mapping) -> Iterator[str]:
    sources = {
        field: source for field, source in mapping.fields.items() if not isinstance(source, Constant)
    }
    sources["skip_rows"] = tuple(rule.column for rule in mapping.formats.skip_rows)
    sources["tap_columns"] = tuple(mapping.formats.tap_columns)
    for field, source in sources.items():
        for pointer in (one for one in source if one not in (TAP_CELL, AMOUNT_CELL)):
            try:
                compiled(pointer)
            except ValueError as error:
                yield f"the field {field!r} is mapped to what is no pointer: {error}."
    try:
        tokens(mapping.formats.rows)
    except ValueError as error:
        yield f"formats.rows: {error}."
