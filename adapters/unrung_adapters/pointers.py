"""JSON Pointers (RFC 6901) and relative ones, compiled once and followed for every row."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from jsonpointer import JsonPointer, JsonPointerException

MISSING = object()
"""What a pointer gives that leads nowhere."""

_RELATIVE = re.compile(r"(0|[1-9][0-9]*)(#|/.*|)", re.DOTALL)


class Place(NamedTuple):
    """A value of the document together with the way to it."""

    values: tuple[Any, ...]
    """From the document down to the value itself."""
    keys: tuple[str | int, ...]
    """The member name or index that led to each of them but the first."""


Follow = Callable[[Place], Any]
"""From a row's place to the value that a pointer names there, or ``MISSING``."""


def tokens(pointer: str) -> tuple[str, ...]:
    """The reference tokens of an absolute pointer, unescaped; ``ValueError`` where it is not one.

    >>> tokens("/a~1b/m~0n")
    ('a/b', 'm~n')
    """
    try:
        return tuple(JsonPointer(pointer).parts)
    except JsonPointerException as error:
        raise ValueError(f"{pointer!r} is not a JSON pointer: {error}") from None


def followed(value: Any, path: Sequence[str]) -> Any:
    """The value that ``path`` leads to from ``value``, or ``MISSING`` (RFC 6901, section 4)."""
    for token in path:
        if isinstance(value, dict):
            value = value.get(token, MISSING)
        elif isinstance(value, list):
            index = _index(token, len(value))
            value = MISSING if index is None else value[index]
        else:
            return MISSING
    return value


def compiled(pointer: str) -> Follow:
    """A pointer to follow from a row.

    One that starts with "/" (or is empty) is resolved at the row; one that starts with a number
    goes up so many levels first, and "#" at its end asks for the name or index there (Relative
    JSON Pointer, draft-bhutton-relative-json-pointer). ``ValueError`` for anything else.
    """
    if not pointer or pointer.startswith("/"):
        path = tokens(pointer)
        if len(path) == 1 and not path[0].isdigit():
            return _member(path[0])
        return lambda place: followed(place.values[-1], path)
    found = _RELATIVE.fullmatch(pointer)
    if found is None:
        raise ValueError(
            f"{pointer!r} is neither a JSON pointer (\"/name\") nor a relative one (\"2/name\")"
        )
    up = int(found[1])
    return _key(up) if found[2] == "#" else _above(up, tokens(found[2]))


def places_at(document: Any, path: Sequence[str]) -> Iterator[Place]:
    """Every place that ``path`` leads to; "*" in it goes into every element or member."""
    return _descend(Place((document,), ()), path)


def _descend(place: Place, path: Sequence[str]) -> Iterator[Place]:
    if not path:
        yield place
        return
    value, token = place.values[-1], path[0]
    for key, child in _children(value) if token == "*" else _child(value, token):
        yield from _descend(Place((*place.values, child), (*place.keys, key)), path[1:])


def _children(value: Any) -> Iterator[tuple[str | int, Any]]:
    if isinstance(value, list):
        yield from enumerate(value)
    elif isinstance(value, dict):
        yield from value.items()


def _child(value: Any, token: str) -> Iterator[tuple[str | int, Any]]:
    child = followed(value, (token,))
    if child is not MISSING:
        yield (int(token) if isinstance(value, list) else token), child


def _member(name: str) -> Follow:
    def follow(place: Place) -> Any:
        row = place.values[-1]
        return row.get(name, MISSING) if isinstance(row, dict) else MISSING

    return follow


def _above(up: int, path: Sequence[str]) -> Follow:
    def follow(place: Place) -> Any:
        values = place.values
        return followed(values[-1 - up], path) if up < len(values) else MISSING

    return follow


def _key(up: int) -> Follow:
    def follow(place: Place) -> Any:
        return place.keys[-1 - up] if up < len(place.keys) else MISSING

    return follow


def _index(token: str, length: int) -> int | None:
    """An array index: digits without a leading zero (RFC 6901, section 4), and in the array."""
    if not re.fullmatch("0|[1-9][0-9]{0,8}", token):
        return None
    index = int(token)
    return index if index < length else None
