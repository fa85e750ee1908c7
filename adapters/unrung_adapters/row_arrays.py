"""Finding the rows of a JSON document, and saying plainly where they are not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from typing import Any

from unrung.errors import ExportError
from unrung_adapters.pointers import MISSING, Place, followed, places_at, tokens


def row_places(name: str, document: Any, pointer: str) -> Iterator[Place]:
    """The rows of every array that ``pointer`` (``formats.rows``) leads to.

    A way that ends early behind a "*" gives nothing there: a check without lines has no rows.
    Raises ``ExportError`` where it leads to no array at all though there is something to go into.
    """
    path = tokens(pointer)
    found = any(isinstance(place.values[-1], list) for place in places_at(document, path))
    if not found and _promises_rows(document, path):
        raise _no_array(name, document, pointer, path)
    return _elements(document, path)


def _elements(document: Any, path: Sequence[str]) -> Iterator[Place]:
    for values, keys in places_at(document, path):
        if isinstance(values[-1], list):
            for index, row in enumerate(values[-1]):
                yield Place((*values, row), (*keys, index))


def _promises_rows(document: Any, path: Sequence[str]) -> bool:
    """False where the first "*" stands for nothing: an empty day."""
    if "*" not in path:
        return True
    container = followed(document, path[: path.index("*")])
    return not isinstance(container, list | dict) or bool(container)


def _no_array(name: str, document: Any, pointer: str, path: Sequence[str]) -> ExportError:
    value: Any = document
    for token in path:
        inside = _first(value) if token == "*" else followed(value, (token,))
        if inside is MISSING:
            return _missing(name, pointer, token, value)
        value = inside
    return ExportError(
        f"holds {_kind(value)} at {pointer!r} where an array of rows should be" if pointer
        else f"is {_kind(value)}, not an array of rows",
        name=name, field="rows", fix=f"Set formats.rows to the pointer of the array.{_there(value)}",
    )


def _missing(name: str, pointer: str, token: str, value: Any) -> ExportError:
    near = get_close_matches(token, list(value), 1) if isinstance(value, dict) else []
    guess = f" Did you mean {near[0]!r}?" if near else ""
    return ExportError(
        f"has no {token!r} on the way to its rows", name=name, field="rows", value=pointer,
        fix=f"Set formats.rows to the pointer of the array of rows.{_there(value)}{guess}",
    )


def _first(value: Any) -> Any:
    if isinstance(value, dict):
        value = list(value.values())
    return value[0] if isinstance(value, list) and value else MISSING


def _there(value: Any) -> str:
    if not isinstance(value, dict) or not value:
        return ""
    return f" Members that are there: {', '.join(repr(key[:40]) for key in list(value)[:40])}."


def _kind(value: Any) -> str:
    if isinstance(value, dict):
        return "an object"
    return "an array" if isinstance(value, list) else "a single value"
