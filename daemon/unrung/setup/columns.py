"""Which column is which record field: by the words of its header, and by what its values are.

Values have the veto: a column whose values cannot be what its header says is not taken. Without a
telling header only the fields are taken that values alone make plain.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from statistics import median

from unrung.setup.facts import Facts
from unrung.setup.words import HEADERS, header_fit, kind_of

Fit = Callable[[Facts], float]
"""How well the values suit a field: 0 cannot be, 0.5 may be, 1 looks just so."""

_MONEY = re.compile(r"[-+(]?[^\W\d_]{0,3}\.?\s?[-+]?\d[\d., '\u00a0\u202f]*[^\W\d_]{0,3}\.?\)?")
ENOUGH = 1.0
"""Score from which a column is taken: a good header with possible values, or telling values."""


def fields_of(carries: str, facts: Sequence[Facts]) -> dict[str, tuple[str, ...]]:
    """Field to the columns that make it up (two where date and clock stand apart)."""
    scores = {
        (field, one.column.name): score
        for field, words in HEADERS[carries].items() for one in facts
        if (score := _score(carries, field, words, one)) >= ENOUGH
    }
    found: dict[str, tuple[str, ...]] = {}
    used: set[str] = set()
    for (field, name), _ in sorted(scores.items(), key=lambda pair: (-pair[1], pair[0])):
        if field not in found and name not in used:
            found[field] = (name,)
            used.add(name)
    return _with_clocks(carries, found, facts)


def by_name(facts: Sequence[Facts], name: str) -> Facts:
    """The facts of a column. Raises StopIteration where there is none of that name."""
    return next(one for one in facts if one.column.name == name)


def _score(carries: str, field: str, words: str, facts: Facts) -> float:
    fit = FITS[carries].get(field, _few_words)(facts)
    if fit <= 0:
        return 0.0
    said = header_fit(facts.column.title, words)
    own = 0.05 if facts.column.name.startswith("/") else 0.0
    bonus = ALONE[carries].get(field, 0.0) if said == 0 else 0.0
    if field in _NAMELESS and not facts.column.title.isdigit():
        bonus = 0.0
    return (2 * said + fit + own) if said >= 0.3 else fit * bonus


def _moment(facts: Facts) -> float:
    if facts.time_kind == "moment":
        return 1.0 * (facts.filled > 0.5)
    return 0.45 * (facts.time_kind in ("date", "clock") and facts.filled > 0.9)


def _seldom_moment(facts: Facts) -> float:
    """A time of something that happens to few rows, such as a void."""
    if not facts.column.values:
        return 0.3
    return 1.0 * (facts.time_kind in ("moment", "clock") and facts.filled < 0.5)


def _moment_or_blank(facts: Facts) -> float:
    return 0.3 if not facts.column.values else 1.0 * (facts.time_kind == "moment")


def _day(facts: Facts) -> float:
    return 0.3 if not facts.column.values else 1.0 * (facts.time_kind == "date")


def _item(facts: Facts) -> float:
    if not facts.wordy or facts.filled < 0.9 or _like_money(facts):
        return 0.0
    many = min(1.0, facts.different / 8)
    return many if facts.different < 0.6 * facts.rows + 5 else 0.2


def _like_money(facts: Facts) -> bool:
    """Whether nearly every text is a figure with a sign of some money beside it that we do not know."""
    values = facts.column.values
    return sum(bool(_MONEY.fullmatch(text)) for text in values) >= 0.9 * len(values)


def _few_words(facts: Facts) -> float:
    """Few different texts, of few different rows or many."""
    if facts.time_kind or not facts.column.values:
        return 0.25 * (not facts.column.values)
    return 0.8 if facts.different <= max(12, 0.05 * facts.rows) else 0.3 * facts.wordy


def _size(facts: Facts) -> float:
    return _few_words(facts) if facts.different <= 40 and not facts.time_kind else 0.0


def _outlet(facts: Facts) -> float:
    return _few_words(facts) * (facts.wordy and facts.different <= 25)


def _units(facts: Facts) -> float:
    if not facts.numbers or facts.filled < 0.5:
        return 0.0
    small = sum(abs(number) <= 20 for number in facts.numbers) / len(facts.numbers)
    ones = sum(number == 1 for number in facts.numbers) / len(facts.numbers)
    return 0.0 if small < 0.9 or facts.whole < 0.5 else 0.5 + 0.5 * (ones > 0.4)


def _some_units(facts: Facts) -> float:
    """A count that many rows leave out."""
    return 0.3 if not facts.column.values else 0.8 * bool(facts.numbers)


def _amount(facts: Facts) -> float:
    if not facts.numbers or facts.filled < 0.5:
        return 0.0
    middle = median(map(abs, facts.numbers))
    return 1.0 if facts.whole < 0.95 and 0.3 < middle < 100_000 else 0.4


def _id(facts: Facts) -> float:
    return 1.0 * (facts.unique and not facts.time_kind and facts.whole in (0.0, 1.0))


def _check(facts: Facts) -> float:
    if facts.time_kind or facts.filled < 0.5 or facts.different < 2:
        return 0.0
    return 1.0 if facts.different < facts.rows and facts.run > 1.05 else 0.4


def _refers(facts: Facts) -> float:
    return 0.3 if not facts.column.values else 1.0 * (facts.filled < 0.3)


def _volume(facts: Facts) -> float:
    if not facts.numbers or facts.filled < 0.5 or min(facts.numbers) < 0 < 1 - facts.positive - 0.2:
        return 0.0
    if facts.positive < 0.8:  # counts of a span are 0 where nothing flowed: only under a header that says so
        return 0.4 * (facts.different > 5)
    return 1.0 if facts.different > min(20, 0.1 * facts.rows) else 0.5


def _some_volume(facts: Facts) -> float:
    return 0.3 if not facts.column.values else 0.9 * bool(facts.numbers)


def _pulses(facts: Facts) -> float:
    return _volume(facts) * (facts.whole == 1.0)


def _duration(facts: Facts) -> float:
    if not facts.numbers or min(facts.numbers) < 0:
        return 0.0
    return 1.0 * (0.5 < median(facts.numbers) < 200_000)


def _tap(facts: Facts) -> float:
    if facts.time_kind or facts.filled < 0.9 or facts.whole not in (0.0, 1.0):
        return 0.0
    return 1.0 if 1 <= facts.different <= 80 and facts.different < max(3, 0.3 * facts.rows) else 0.0


def _some_tap(facts: Facts) -> float:
    return 0.3 if not facts.column.values else 0.8 * (not facts.time_kind and facts.different <= 80)


def _kind(carries: str) -> Fit:
    def fit(facts: Facts) -> float:
        if facts.time_kind or facts.different > 30:
            return 0.0
        if not facts.column.values:
            return 0.25
        known = [text for text in facts.column.values if kind_of(text, carries)]
        share = len(known) / len(facts.column.values)
        return share if carries != "rings" else share * (0.2 + 0.8 * (len(known) > 0))

    return fit


def _never(facts: Facts) -> float:
    return 0.0


FITS: dict[str, dict[str, Fit]] = {
    "rings": {
        "at": _moment, "item": _item, "size": _size, "units": _units, "amount": _amount,
        "tax": _amount, "kind": _kind("rings"), "check": _check, "outlet": _outlet, "id": _id,
        "version": _moment_or_blank, "voided_at": _seldom_moment, "voids": _refers, "staff": _few_words,
    },
    "pours": {
        "tap": _tap, "meter": _tap, "start": _moment, "end": _moment, "duration": _duration,
        "volume": _volume, "pulses": _pulses, "id": _id, "version": _moment_or_blank,
        "outlet": _outlet,
    },
    "kegs": {
        "at": _moment, "kind": _kind("kegs"), "tap": _some_tap, "units": _some_units,
        "part": _some_volume, "gross_kg": _some_volume, "tare_kg": _some_volume,
        "cost": _some_volume, "id": _id, "version": _moment_or_blank,
    },
    "log": {
        "at": _moment_or_blank, "end": _seldom_moment, "day": _day, "reason": _kind("log"),
        "tap": _some_tap, "units": _some_units, "volume": _some_volume, "id": _id,
        "version": _moment_or_blank,
    },
}  # fmt: skip
ALONE: dict[str, dict[str, float]] = {
    "rings": {"at": 1.6, "item": 1.4, "id": 1.1, "units": 1.05, "amount": 1.05},
    "pours": {"tap": 1.05, "end": 1.2, "start": 1.3, "volume": 1.2, "id": 1.1},
    "kegs": {"at": 1.6, "kind": 1.5},
    "log": {"at": 1.6, "reason": 1.5},
}
"""What values alone are worth, where the header says nothing that is known."""
_NAMELESS = ("units", "amount")
"""Only where there is no header at all: small figures under an unknown word may be guests."""


def _with_clocks(
    carries: str, found: dict[str, tuple[str, ...]], facts: Sequence[Facts]
) -> dict[str, tuple[str, ...]]:
    """A date without a clock, or a clock without a date, gets the other one's column."""
    main = "at" if carries != "pours" else ("start" if "start" in found else "end")
    days = [one.column.name for one in facts if one.time_kind == "date" and one.filled > 0.9]
    clocks = [one.column.name for one in facts if one.time_kind == "clock" and one.filled > 0.9]
    for field in [name for name in ("at", "start", "end", "voided_at", "version") if name in found]:
        kind = by_name(facts, found[field][0]).time_kind
        if kind == "clock" and days:
            found[field] = (days[0], found[field][0])
        elif kind == "date" and clocks and field == main:
            found[field] = (found[field][0], clocks[0])
        elif kind in ("date", "clock"):
            del found[field]
    if main not in found and days and clocks:
        found[main] = (days[0], clocks[0])
    if carries == "log" and "at" not in found and days:
        found.setdefault("day", (days[0],))
    return found


def rises(numbers: Sequence[float]) -> bool:
    """Whether the rows are (nearly) in rising order."""
    steps = [later >= earlier for earlier, later in pairwise(numbers)]
    return bool(steps) and sum(steps) >= 0.95 * len(steps)
