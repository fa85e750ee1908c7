"""A value that cannot be read, and the row put aside because of it."""

from __future__ import annotations

from collections.abc import Mapping

from unrung.records import Reject


class Unreadable(ValueError):
    """A text that cannot be read, before it is known which field it stands in."""

    def __init__(self, reason: str, fix: str) -> None:
        self.reason, self.fix = reason, fix
        super().__init__(reason)


class BadValue(Exception):
    """One value of one row; the reader turns it into a ``Reject`` and goes on."""

    def __init__(self, field: str, value: str, reason: str, fix: str) -> None:
        self.field, self.value, self.reason, self.fix = field, value, reason, fix
        super().__init__(f"{field}: {reason}")


def rejected(line: int, bad: BadValue, cells: Mapping[str, str]) -> Reject:
    """The row at ``line``, put aside; ``cells`` are its mapped fields, field to text."""
    return Reject(line, bad.field, str(bad.value), bad.reason, bad.fix, dict(cells))
