"""Sums and closing lines at the end of a CSV's rows, so that they are named and passed over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from unrung.setup.csv_shape import CsvShape, rows_below

_FOOTER = re.compile(
    r"(grand |sub)?totals?\b|(gesamt)?summe\b|sum\b|gesamt\b|total g|totaal\b|totale\b|end of|rows?:",
    re.IGNORECASE,
)
"""How footers begin, in English, German, French, Dutch, Italian and Spanish (from memory)."""
_MOST = 3
"""Lines at the end of a file that may be footers."""


def with_footers(texts: Sequence[str], shape: CsvShape) -> CsvShape:
    """``shape`` with the footers of all files named: rows at the end that say they are a sum, and those
    that lack most of what every other row has."""
    words: dict[int, list[str]] = {}
    for text in texts:
        rows = rows_below(text, shape)
        told = _said(rows[-_MOST:], shape)
        for index, said in (told or _lacking(rows, shape)).items():
            words.setdefault(index, []).extend(said)
    skips = [(shape.header[index], _as_values(said)) for index, said in sorted(words.items())]
    return replace(shape, skips=(*shape.skips, *skips))


def _said(last: Sequence[Sequence[str]], shape: CsvShape) -> dict[int, list[str]]:
    """The column that says so and its words."""
    for index, name in enumerate(shape.header):
        words = [
            row[index].strip() for row in last
            if index < len(row) and _FOOTER.match(row[index].strip()) and _mostly_empty(row)
        ]
        if words and name:
            return {index: words}
    return {}


def _lacking(rows: Sequence[Sequence[str]], shape: CsvShape) -> dict[int, list[str]]:
    """In whatever language: a row at the very end with a text in its first filled cell that no row has
    there, and empty where every row holds something."""
    body, found = [row for row in rows[:-_MOST] if len(row) == len(shape.header)], dict[int, list[str]]()
    always = [n for n in range(len(shape.header)) if all(row[n].strip() for row in body)]
    if len(body) < 10 or len(always) < 3:
        return {}
    for row in reversed(rows[-_MOST:]):
        first = next(index for index, cell in enumerate(row) if cell.strip())
        empty = sum(n >= len(row) or not row[n].strip() for n in always)
        text = row[first].strip()
        if 2 * empty < len(always) or not shape.header[first] or not any(map(str.isalpha, text)):
            break
        if any(other[first].strip() == text for other in body):
            break
        found.setdefault(first, []).append(text)
    return found


def _as_values(said: Sequence[str]) -> tuple[str, ...]:
    """The texts as ``skip_rows`` has them: what all of them begin with, where each file has another."""
    words = tuple(dict.fromkeys(said))
    begins = words[0]
    while not all(word.startswith(begins) for word in words):
        begins = begins[:-1]
    begins = begins.rstrip("0123456789.,:/-")
    return (f"{begins}*",) if len(words) > 2 and sum(map(str.isalpha, begins)) >= 3 else words


def _mostly_empty(row: Sequence[str]) -> bool:
    return len(row) <= 2 or sum(bool(cell.strip()) for cell in row) <= max(3, len(row) // 2)
