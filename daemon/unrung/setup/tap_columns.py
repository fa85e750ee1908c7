"""Meters that write a column for each tap: seen by columns of figures under headers of one kind, or under
names, where no column says which tap a row is of."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Sequence
from itertools import takewhile

from unrung.mapping import AMOUNT_CELL, TAP_CELL
from unrung.setup.facts import Facts, facts_of
from unrung.setup.header_words import HEADERS
from unrung.setup.sheet import Column, Sheet
from unrung.setup.words import header_fit, plain

_NO_BEER = set(
    "temp temperature temperatur pressure druck pression psi bar kpa humidity co2 battery batterie voltage "
    "volt total sum all gesamt summe totaal totale suma status error errors alarm row id nr no".split())
"""Words of columns that stand beside the taps' and count no beer of one tap (from memory)."""
_NUMBER = re.compile(r"\d")
_AMOUNTS = ("volume", "pulses", "duration")


def turned(sheet: Sheet) -> Sheet | None:
    """The same rows with the tap in a column of its own; None where no columns look like taps'."""
    figures = _figures(facts_of(sheet)[0])
    taps = _tap_columns(figures)
    if len(taps) < 2:
        return None
    names = _names([column.title for column in taps])
    rest = [column for column in sheet.columns if column not in (*taps, *_numbered(figures))]
    places = [
        (row, tap) for row in range(sheet.rows) for tap, column in enumerate(taps)
        if column.texts[row].strip()
    ]
    columns = [Column(one.name, one.title, [one.texts[row] for row, _ in places], one.exact_numbers)
               for one in rest]
    columns.append(Column(TAP_CELL, "tap", [names[tap] for _, tap in places]))
    columns.append(Column(
        AMOUNT_CELL, _said([column.title for column in taps]),
        [taps[tap].texts[row] for row, tap in places], taps[0].exact_numbers,
    ))
    starts = [bisect_left(places, (start, 0)) for start in sheet.starts]
    tap_columns = {column.name: name for column, name in zip(taps, names, strict=True)}
    return Sheet(columns, starts, sheet.rows_at, tap_columns)


def _figures(facts: Sequence[Facts]) -> list[Column]:
    """Columns of figures that may be what flowed."""
    return [one.column for one in facts if one.numbers and min(one.numbers) >= 0 and not one.time_kind
            and not set(plain(one.column.title).split()) & _NO_BEER]


def _numbered(figures: Sequence[Column]) -> list[Column]:
    found = [column for column in figures if _NUMBER.search(column.title)]
    return found if len(found) > 1 else []


def _tap_columns(figures: Sequence[Column]) -> list[Column]:
    """Columns under headers with a number, such as L3; where there are none, all under headers that say
    nothing that is known."""
    numbered = _numbered(figures)
    if numbered:
        return _of_one_kind(numbered)
    known = [column for column in figures if _is_amount(column.title) or _is_tap(column.title)]
    return _alike(known) if known else list(figures)


def _alike(known: Sequence[Column]) -> list[Column]:
    """Columns under names with the same known words beside them, such as "Stout (ml)" or "Tap A": what else
    there is of a pour, such as its volume and its length, stands under known words alone."""
    kinds: dict[str, list[Column]] = defaultdict(list)
    for column in known:
        words = [word for word in plain(column.title).split() if _is_amount(word) or _is_no_name(word)]
        if words and len(words) < len(plain(column.title).split()):
            kinds[" ".join(words)].append(column)
    most = max(kinds.values(), key=len, default=[])
    return most if len(most) > 1 else []


def _of_one_kind(numbered: Sequence[Column]) -> list[Column]:
    """Of several columns a tap, such as its volume and its flow, the one that counts beer."""
    kinds: dict[str, list[Column]] = defaultdict(list)
    numbers = Counter[str]()
    for column in numbered:
        words = plain(column.title).split()
        numbers[" ".join(filter(_NUMBER.search, words))] += 1
        kinds[" ".join(word for word in words if not _NUMBER.search(word))].append(column)
    if max(numbers.values()) == 1:
        return list(numbered)
    return max(kinds.values(), key=lambda columns: (_is_amount(columns[0].title), len(columns)))


def _is_amount(title: str) -> bool:
    return any(header_fit(title, HEADERS["pours"][field]) >= 0.3 for field in _AMOUNTS)


def _names(titles: Sequence[str]) -> list[str]:
    """What the taps are called: their headers without a unit that all end with, and without "Tap".

    >>> _names(["Tap L1 (oz)", "Tap L12 (oz)"]), _names(["Amber Hill", "Amber Ale"]), _names(["1", "11"])
    (['L1', 'L12'], ['Amber Hill', 'Amber Ale'], ['1', '11'])
    """
    backwards = zip(*map(reversed, titles), strict=False)
    alike = sum(1 for _ in takewhile(lambda letters: len(set(letters)) == 1, backwards))
    ending = re.search(r"[\s(\[_/-].*", titles[0][len(titles[0]) - alike :])
    short = [title.removesuffix(ending[0]).strip() for title in titles] if ending else list(titles)
    while all(" " in title for title in short) and len({title.split()[0] for title in short}) == 1 \
            and _is_no_name(short[0].split()[0]):
        short = [title.split(maxsplit=1)[1] for title in short]
    return short if all(short) else list(titles)


def _is_no_name(word: str) -> bool:
    return plain(word) == "flow" or _is_tap(word)


def _is_tap(title: str) -> bool:
    return any(header_fit(title, HEADERS["pours"][field]) >= 0.3 for field in ("tap", "meter"))


def _said(titles: Sequence[str]) -> str:
    """A header for what the cells hold: the words that all of theirs have in common."""
    common = [word for word in plain(titles[0]).split()
              if all(word in plain(title).split() for title in titles)]
    said = " ".join(word for word in common if not _is_no_name(word))
    return said if said and _is_amount(said) else f"volume {said}".strip()
