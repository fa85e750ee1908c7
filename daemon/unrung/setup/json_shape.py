"""The shape of a JSON export: the array whose elements are the rows, and the ways to their values.

A row is an element of the deepest array that holds enough rows; what stands above it (a tap around
its pours, a check around its lines) is reached by relative pointers, as in ``2/tap``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from unrung.setup.sheet import Column, Sheet

_DEEPEST = 8


@dataclass(frozen=True, slots=True)
class JsonShape:
    """``rows``: pointer to the array of rows, with ``*`` for every element on the way."""

    rows: str


@dataclass(frozen=True, slots=True)
class _Row:
    way: tuple[Any, ...]
    """From the document down to the row."""
    keys: tuple[str | int, ...]


def array_pointers(document: Any) -> dict[str, int]:
    """Pointer of every array of objects to the number of its elements, ``*`` joining like ones."""
    found: dict[str, int] = {}
    _collect(document, "", found, 0)
    return found


def json_sheet(documents: Sequence[Any], shape: JsonShape) -> Sheet:
    """The rows of all documents with a column for every pointer that leads to a value."""
    rows: list[_Row] = []
    starts = [0]
    for document in documents:
        rows += _rows(document, _tokens(shape.rows))
        starts.append(len(rows))
    cells = [dict(_cells(row)) for row in rows]
    names = [name for name in dict.fromkeys(name for row in cells for name in row) if _varies(name, shape)]
    return Sheet([_column(name, cells, shape) for name in names], starts)


def _column(name: str, cells: list[dict[str, tuple[str, bool]]], shape: JsonShape) -> Column:
    taken = [row.get(name, ("", False)) for row in cells]
    numbers = [exact for text, exact in taken if text]
    title = _title(name, shape)
    return Column(name, title, [text for text, _ in taken], bool(numbers) and all(numbers))


def _varies(name: str, shape: JsonShape) -> bool:
    """False for the name of a member that the pointer to the rows spells out."""
    tokens = _tokens(shape.rows)
    return not name.endswith("#") or tokens[len(tokens) - int(name[:-1])] == "*"


def _title(name: str, shape: JsonShape) -> str:
    """Member names in words: ``2/name`` above ``/taps/*/pours`` is "taps name"."""
    up, _, rest = name.partition("/")
    if not up:
        return rest.replace("/", " ")
    level = int(up.rstrip("#"))
    tokens = _tokens(shape.rows)
    around = [token for token in tokens[: len(tokens) + 1 - level] if token != "*"]
    return " ".join([*around[-1:], *rest.split("/")]).strip()


def _collect(value: Any, pointer: str, found: dict[str, int], depth: int) -> None:
    if depth > _DEEPEST:
        return
    if isinstance(value, list):
        if value and all(isinstance(one, dict) for one in value):
            found[pointer] = found.get(pointer, 0) + len(value)
        for one in value:
            _collect(one, pointer + "/*", found, depth + 1)
    elif isinstance(value, dict):
        alike = _alike(value)
        for key, one in value.items():
            token = "*" if alike else _escaped(key)
            _collect(one, f"{pointer}/{token}", found, depth + 1)


def _alike(value: dict[str, Any]) -> bool:
    """Members that are all arrays, or all objects with the same members, are a list by name."""
    inner = list(value.values())
    if len(inner) < 2:
        return False
    if all(isinstance(one, list) and one and isinstance(one[0], dict) for one in inner):
        return len({frozenset(one[0]) for one in inner}) == 1
    return all(isinstance(one, dict) for one in inner) and len({frozenset(one) for one in inner}) == 1


def _rows(document: Any, tokens: Sequence[str]) -> Iterator[_Row]:
    for place in _down(_Row((document,), ()), tokens):
        value = place.way[-1]
        if isinstance(value, list):
            for index, one in enumerate(value):
                if isinstance(one, dict):
                    yield _Row((*place.way, one), (*place.keys, index))


def _down(place: _Row, tokens: Sequence[str]) -> Iterator[_Row]:
    if not tokens:
        yield place
        return
    value, token = place.way[-1], tokens[0]
    steps: list[tuple[str | int, Any]] = []
    if token == "*":
        steps = list(enumerate(value)) if isinstance(value, list) else (
            list(value.items()) if isinstance(value, dict) else [])
    elif isinstance(value, dict) and token in value:
        steps = [(token, value[token])]
    for key, inner in steps:
        yield from _down(_Row((*place.way, inner), (*place.keys, key)), tokens[1:])


def _cells(row: _Row) -> Iterator[tuple[str, tuple[str, bool]]]:
    """(pointer, (text, whether it is a number)) of every value of the row and above it."""
    yield from _values(row.way[-1], "")
    for up in range(1, len(row.way)):
        value = row.way[-1 - up]
        if isinstance(value, dict):
            yield from ((f"{up}{name}", cell) for name, cell in _values(value, ""))
        if isinstance(value, dict) and isinstance(row.keys[-up], str):
            yield f"{up - 1}#", (str(row.keys[-up]), False)


def _values(value: dict[str, Any], pointer: str) -> Iterator[tuple[str, tuple[str, bool]]]:
    for key, one in value.items():
        name = f"{pointer}/{_escaped(key)}"
        if isinstance(one, dict):
            yield from _values(one, name)
        elif not isinstance(one, list):
            yield name, _cell(one)


def _cell(value: Any) -> tuple[str, bool]:
    if value is None:
        return "", False
    if isinstance(value, bool):
        return ("true" if value else "false"), False
    return str(value), type(value) is not str


def _tokens(pointer: str) -> list[str]:
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")
