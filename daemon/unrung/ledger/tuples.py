"""Named tuples by the tens of thousands, without a call of Python's for each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import Any, TypeVar

Row = TypeVar("Row", bound=tuple[Any, ...])


def made(kind: type[Row], rows: Iterable[tuple[Any, ...]]) -> Iterator[Row]:
    """A ``kind`` of each plain tuple of its fields.

    >>> from unrung.ledger.inputs import Origin
    >>> list(made(Origin, [("till", 3, 1, "a"), ("till", 3, 2, "b")]))[1]
    Origin(feed='till', source=3, line=2, ref='b')
    """
    return map(partial(tuple.__new__, kind), rows)
