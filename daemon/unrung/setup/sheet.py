"""The common form of an export while setup looks at it: columns of texts, whatever the file was."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property


@dataclass
class Column:
    """A CSV column, or a JSON pointer, with its text in every row."""

    name: str
    """The header, the position from 1, or the pointer: what ``fields`` will name."""
    title: str
    """What a person would call it: the header, or the last member names of the pointer."""
    texts: list[str]
    exact_numbers: bool = False
    """Numbers of a JSON document, whose decimal mark is a point whatever the feed says."""

    @cached_property
    def filled(self) -> list[str]:
        """Its texts that are not blank, in the order of the rows."""
        return [text.strip() for text in self.texts if text.strip()]

    @cached_property
    def values(self) -> list[str]:
        """Its different texts, in the order in which they turn up."""
        return list(dict.fromkeys(self.filled))

    @property
    def filled_share(self) -> float:
        return len(self.filled) / len(self.texts) if self.texts else 0.0


@dataclass
class Sheet:
    """The rows of all sample files of a feed, one after the other."""

    columns: list[Column]
    starts: list[int] = field(default_factory=list)
    """Index of each file's first row, and behind them the number of rows."""
    rows_at: str = ""
    """JSON: the pointer to the array of rows."""
    tap_columns: dict[str, str] = field(default_factory=dict)
    """Column to tap, of meters that write a column for each tap: every filled cell is a row here."""

    @property
    def rows(self) -> int:
        return self.starts[-1] if self.starts else 0

    def named(self, name: str) -> Column:
        """The column that ``fields`` would call ``name``. Raises KeyError."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def joined(columns: list[Column]) -> list[str]:
    """The texts of several columns joined by a blank, row by row, as the readers join them."""
    return [" ".join(parts) for parts in zip(*[column.texts for column in columns], strict=True)]
