"""A table to be issued: typed columns that describe themselves, and rows of plain cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

Cell = str | int | Decimal | bool | None
"""A ``str`` is text (or a date), ``int`` and ``Decimal`` are numbers, ``None`` is an empty cell."""

Row = Mapping[str, Cell]
"""Column name to cell; every column of the table must be there."""

ColumnType = Literal["string", "integer", "number", "date", "datetime", "boolean"]

LOCAL_FORMAT = "%Y-%m-%dT%H:%M:%S%z"
UTC_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"


@dataclass(frozen=True, slots=True)
class Column:
    """One column, in the words of Frictionless Table Schema."""

    name: str
    type: ColumnType
    description: str
    format: str = ""
    constraints: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Table:
    """One file to be: ``name`` is its stem without the day ("variance")."""

    name: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    primary_key: tuple[str, ...] = ()


def text(name: str, description: str, *, required: bool = False) -> Column:
    return Column(name, "string", description, constraints=_needed(required))


def choice(name: str, description: str, values: Sequence[str]) -> Column:
    """Text out of a closed list."""
    return Column(
        name, "string", description, constraints={"required": True, "enum": list(values)}
    )


def number(
    name: str, description: str, *, required: bool = True, minimum: int | None = None
) -> Column:
    return Column(name, "number", description, constraints=_needed(required, minimum))


def count(name: str, description: str, *, minimum: int | None = 0) -> Column:
    """A whole number that is always there."""
    return Column(name, "integer", description, constraints=_needed(True, minimum))


def day(name: str, description: str) -> Column:
    return Column(name, "date", description, constraints=_needed(True))


def moment(name: str, description: str, fmt: str) -> Column:
    """A time; ``fmt`` is a strptime pattern, as Table Schema takes it."""
    return Column(name, "datetime", description, fmt, _needed(True))


def _needed(required: bool, minimum: int | None = None) -> dict[str, object]:
    found: dict[str, object] = {"required": True} if required else {}
    return found if minimum is None else {**found, "minimum": minimum}
