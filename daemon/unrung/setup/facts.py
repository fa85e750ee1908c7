"""What the values of a column are like: times, numbers, few different words, ids."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from unrung.setup.numbers import NumberForm, looks_numeric, number_form, value
from unrung.setup.sheet import Column, Sheet
from unrung.setup.times import TimeForm, clock_of_digits, forms_of, sheet_days
from unrung.setup.words import plain

_CLOCK_WORDS = set(
    "time clock hour uhrzeit zeit heure hora ora tijd cas tid klokkeslett godzina czas".split())
"""Of a column of times of day, in several languages (from memory)."""


@dataclass
class Facts:
    """A column together with what its values look like."""

    column: Column
    form: NumberForm
    rows: int
    starts: tuple[int, ...] = ()
    """Index of each file's first row, and behind them the number of rows."""

    @cached_property
    def times(self) -> list[TimeForm]:
        """The time forms in which the column reads; empty for anything else."""
        return forms_of(self.column.values) if self.column.values else []

    @property
    def time_kind(self) -> str:
        """"moment", "date", "clock" or ""."""
        return self.times[0].kind if self.times else ""

    @cached_property
    def numbers(self) -> list[float]:
        """Its values as numbers, where nearly all are; else empty."""
        if self.times:
            return []
        form = NumberForm() if self.column.exact_numbers else self.form
        found = [value(text, form) for text in self.column.filled]
        good = [float(one) for one in found if one is not None]
        return good if found and len(good) >= 0.97 * len(found) else []

    @property
    def filled(self) -> float:
        return self.column.filled_share

    @property
    def different(self) -> int:
        return len(self.column.values)

    @property
    def unique(self) -> bool:
        """Whether (nearly) every row of a file has a value of its own; another file may repeat it."""
        texts, different = self.column.texts, 0
        for low, high in pairwise(self.starts):
            different += len({text.strip() for text in texts[low:high]})
        return self.filled > 0.99 and different >= 0.998 * self.rows and self.rows > 1

    @property
    def whole(self) -> float:
        """Share of whole numbers."""
        return _share([number == int(number) for number in self.numbers])

    @property
    def positive(self) -> float:
        return _share([number > 0 for number in self.numbers])

    @property
    def wordy(self) -> bool:
        """Texts that are neither times nor numbers."""
        return bool(self.column.values) and not self.times and not self.numbers and (
            sum(any(letter.isalpha() for letter in text) for text in self.column.values)
            >= 0.8 * len(self.column.values)
        )

    @cached_property
    def run(self) -> float:
        """Mean number of rows in a row that carry the same value."""
        texts = self.column.texts
        changes = sum(a != b for a, b in pairwise(texts))
        return len(texts) / (changes + 1)


def facts_of(sheet: Sheet) -> tuple[list[Facts], NumberForm]:
    """The facts of every column, and the number marks that all of them share."""
    texts = [
        text for column in sheet.columns if not column.exact_numbers and _numeric(column)
        for text in column.values
    ]
    form, _ = number_form(texts)
    facts = [Facts(column, form, sheet.rows, tuple(sheet.starts)) for column in sheet.columns]
    for one in facts:
        if not one.times and set(plain(one.column.title).split()) & _CLOCK_WORDS:
            one.times = clock_of_digits(one.column.values)
    if not any(one.times for one in facts):
        for one in facts:
            one.times = sheet_days(one.column.values)
    return facts, form


def number_texts(facts: Sequence[Facts]) -> list[str]:
    """The texts of columns whose number marks matter."""
    return [
        text for one in facts if not one.times and not one.column.exact_numbers
        for text in one.column.values
    ]


def _numeric(column: Column) -> bool:
    sample = column.values[:200]
    return bool(sample) and sum(map(looks_numeric, sample)) >= 0.9 * len(sample) and not forms_of(sample)


def _share(flags: Sequence[bool]) -> float:
    return sum(flags) / len(flags) if flags else 0.0
