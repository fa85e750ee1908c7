"""How an export writes times: the form by which every value reads, and day or month first.

A text such as 03/04/2026 does not say which of the two is the month. What does: a value above 12
somewhere, the date in a file's name, values in the future, days that would lie months apart, rows
that would run backwards, and the other feed, which must be of the same days.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from unrung.setup.readers import instant, time_reader

_CLOCK = re.compile(
    r"(?P<H>\d{1,2})(?P<s1>[:.h])(?P<M>\d\d)(?:(?P<s2>[:.])(?P<S>\d\d)(?:(?P<s3>[.,])(?P<f>\d{1,6}))?)?"
    r"(?:(?P<gap>\s?)(?P<p>[AaPp](?:\.?\s?[Mm]\.?)?)(?![^\W_]))?(?![\d.])"
)
_DATE = re.compile(
    r"(?<!\d)(?P<a>\d{4}|\d{1,2})(?P<s1>[-/.]|\. |\s)(?P<b>\d{1,2}|[^\W\d_]{3,12}\.?)(?P<s2>[-/.]|\. |\s|, )"
    r"(?P<c>\d{4}|\d{2})(?!\d)|(?<!\d)(?P<ymd>20\d{6})(?!\d)"
    r"|(?P<word>[^\W\d_]{3,12})\.? (?P<dd>\d{1,2}),? (?P<yyyy>\d{4})"
)
_OFFSET = re.compile(r"\s?(?:Z|[-+]\d\d:?\d\d)$")
_WEEKDAY = re.compile(r"^(?P<word>[^\W\d_]{2,12})\.?(?P<gap>,? )(?=\S)")
_DIGITS = re.compile(r" (?:[01]\d|2[0-3])[0-5]\d(?P<S>[0-5]\d)?")
_SHEET_DAY = re.compile(r"(?:4[2-9]|5[0-4])\d{3}[.,]\d{2,}")
SHEET_DAYS = "sheet_days"
_NO_PATTERNS = ("iso", "epoch_s", "epoch_ms", SHEET_DAYS)
_BETWEEN = re.compile(r"\.?[\sT,\-]*(?:[^\W\d_]{1,4}\.?\s)?")
"""What may stand between a date and its clock: 27.10.2026 klo 20.15, 2026. 10. 27. 20:15."""
_OCLOCK = re.compile(r"\s?(?:Uhr|uur|hrs?|hod\.?|h)")
_BY_CHANCE = 0.02
"""Share of values that may be bad rows and not another form."""


@dataclass(frozen=True, slots=True)
class TimeForm:
    """One way to read a column: a form for ``formats.time`` or ``formats.date``."""

    form: str
    kind: str
    """"moment", "date" (without a clock) or "clock" (without a date)."""
    share: float
    """Of the values that read so."""


def forms_of(values: Sequence[str]) -> list[TimeForm]:
    """Every form in which (nearly) all of ``values`` read; day-first and month-first apart."""
    kinds: dict[str, str] = {}
    for text in _spread(values, 12):
        kinds.update(_candidates(text))
    sample = _spread(values, 600)
    found = [TimeForm(form, kind, _share(form, kind, sample)) for form, kind in kinds.items()]
    good = [one for one in found if one.share >= 1 - _BY_CHANCE]
    if any(one.kind != "clock" for one in good):  # 21.10.26 is a day, though it could be a time with points
        good = [one for one in good if one.kind != "clock"]
    best = max((one.share for one in good), default=0.0)
    return sorted((one for one in good if one.share == best), key=_preference)


def read_local(form: str, texts: Sequence[str]) -> list[datetime | None]:
    """The texts as local times (those with an offset in UTC), None where one does not read."""
    read = time_reader(_as_moment(form))
    if read is None:
        return [None] * len(texts)
    cache: dict[str, datetime | None] = {}
    for text in texts:
        if text not in cache:
            found = instant(read, _as_moment_text(form, text))
            if isinstance(found, int):
                found = datetime.fromtimestamp(found / 1000, UTC).replace(tzinfo=None)
            cache[text] = found
    return [cache[text] for text in texts]


def sheet_days(values: Sequence[str]) -> list[TimeForm]:
    """The form of a spreadsheet's numbers for days of 2015 to 2050 with their time; for columns where a file
    has no other time, since such a number may be an amount as well."""
    sample = _spread(values, 600)
    good = sum(bool(_SHEET_DAY.fullmatch(text.strip())) for text in sample)
    return [TimeForm(SHEET_DAYS, "moment", 1.0)] if sample and good == len(sample) else []


def has_offset(form: str, values: Sequence[str]) -> bool:
    """Whether the values say their own distance from UTC."""
    if form.startswith("epoch"):
        return True
    return bool(values) and all(_OFFSET.search(text) for text in _spread(values, 50))


def _as_moment(form: str) -> str:
    codes = set(re.findall("%(.)", form))
    if form in _NO_PATTERNS or codes & {"H", "I"}:
        return form if form in _NO_PATTERNS or codes & {"d"} else f"%Y-%m-%d {form}"
    return f"{form} %H:%M"


def _as_moment_text(form: str, text: str) -> str:
    codes = set(re.findall("%(.)", form))
    if form in _NO_PATTERNS:
        return text
    if not codes & {"H", "I"}:
        return f"{text} 00:00"
    return text if codes & {"d"} else f"2000-01-01 {text}"


def _share(form: str, kind: str, sample: Sequence[str]) -> float:
    good = [moment for moment in read_local(form, sample) if moment is not None]
    if kind != "clock":
        good = [moment for moment in good if 2000 <= moment.year < 2100]
    return len(good) / len(sample) if sample else 0.0


def _candidates(text: str) -> dict[str, str]:
    """Form to kind, for one text."""
    text = text.strip()
    if re.fullmatch(r"[12]\d{9}(\.\d+)?", text):
        return {"epoch_s": "moment"}
    if re.fullmatch(r"[12]\d{12}", text):
        return {"epoch_ms": "moment"}
    if re.fullmatch(r"20\d{12}", text):
        return {"%Y%m%d%H%M%S": "moment"}
    if re.match(r"\d{4}-?\d\d-?\d\d[T ]\d\d", text) and read_local("iso", [text]) != [None]:
        return {"iso": "moment"}
    return _patterns(text)


def _patterns(text: str) -> dict[str, str]:
    weekday = _WEEKDAY.match(text)
    if weekday is None:
        return _undated_or_dated(text)
    front = "%a" + weekday["gap"]
    behind = _undated_or_dated(text[weekday.end() :])
    return _undated_or_dated(text) | {front + form: kind for form, kind in behind.items() if kind != "clock"}


def _undated_or_dated(text: str) -> dict[str, str]:
    day = _DATE.search(text)
    # A date with points must not be taken for a clock: look for the clock behind the date first.
    clock = _CLOCK.search(text, day.end() if day else 0) or (_CLOCK.search(text) if not day else None)
    if day is None and clock is None:
        return {}
    alone = _clock_alone(text)
    if day is None:
        return alone
    return alone | {
        pattern: "moment" if clock or pattern.endswith(("%M", "%H%M%S")) else "date"
        for date_form in _date_forms(day)
        if (pattern := _spliced(text, day, date_form, clock)) is not None
    }


def _clock_alone(text: str) -> dict[str, str]:
    """A time of day and nothing else. With points it needs its seconds: 4.50 is rather a price."""
    clock = _CLOCK.fullmatch(text)
    if clock is None or not (clock["s1"] in ":h" or (clock["s1"] == "." == clock["s2"] and len(text) > 6)):
        return {}
    return {_clock_form(clock): "clock"}


def _spliced(
    text: str, day: re.Match[str], date_form: str, clock: re.Match[str] | None
) -> str | None:
    """The whole pattern, with what stands between date and clock as it is."""
    if day.start() != 0:
        return None
    if clock is None:
        digits = _DIGITS.fullmatch(text, day.end())
        if digits is not None:
            return date_form + _digits_form(digits)
        return date_form if day.end() == len(text) else None
    between, behind = text[day.end() : clock.start()], text[clock.end() :]
    if not _BETWEEN.fullmatch(between):
        return None
    if not behind or _OCLOCK.fullmatch(behind):
        return date_form + between + _clock_form(clock) + behind
    if not _OFFSET.fullmatch(behind):
        return None
    return date_form + between + _clock_form(clock) + (" " if behind.startswith(" ") else "") + "%z"


def clock_of_digits(values: Sequence[str]) -> list[TimeForm]:
    """The form of clocks such as 210503 or 2105; for columns whose header says that they are of the time."""
    found = [_DIGITS.fullmatch(f" {text.strip()}") for text in _spread(values, 600)]
    forms = {_digits_form(one).strip() if one else "" for one in found}
    return [TimeForm(form, "clock", 1.0) for form in forms if form] if len(forms) == 1 else []


def _digits_form(digits: re.Match[str]) -> str:
    return " %H%M%S" if digits["S"] else " %H%M"


def _clock_form(clock: re.Match[str]) -> str:
    half = clock["p"] is not None
    out = ("%I" if half else "%H") + clock["s1"] + "%M"
    if clock["S"]:
        out += clock["s2"] + "%S"
    if clock["f"]:
        out += clock["s3"] + "%f"
    return out + (clock["gap"] + "%p" if half else "")


def _date_forms(day: re.Match[str]) -> list[str]:
    if day["ymd"]:
        return ["%Y%m%d"]
    if day["word"]:
        comma = "," if "," in day[0] else ""
        return [f"%b %d{comma} %Y"]
    first, second = day["s1"], day["s2"]
    if len(day["a"]) == 4:
        return [f"%Y{first}%m{second}%d"]
    year = "%Y" if len(day["c"]) == 4 else "%y"
    if not day["b"].isdigit():
        return [f"%d{first}%b{second}{year}"]  # names in full too
    forms = [f"%d{first}%m{second}{year}", f"%m{first}%d{second}{year}"]
    return forms if year == "%Y" else [*forms, f"%y{first}%m{second}%d"]


def _preference(form: TimeForm) -> tuple[bool, str]:
    return (form.form != "iso", form.form)


def _spread(values: Sequence[str], most: int) -> list[str]:
    """At most so many values, from all over the file."""
    step = max(1, len(values) // most)
    return list(values[::step])


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for one reading of ambiguous dates: points, and the strongest reason."""

    points: float
    reason: str


def weigh(
    moments: Sequence[datetime | None], starts: Sequence[int], names: Sequence[str],
    written: Sequence[datetime], other: tuple[datetime, datetime] | None = None,
) -> Evidence:
    """How well a reading of a column's times fits everything else.

    ``starts``: index of each file's first row, and the number of rows; ``names``, ``written``: of
    each file; ``other``: the span of another feed's times.
    """
    points, reasons = 0.0, []
    for index, name in enumerate(names):
        own = [one for one in moments[starts[index] : starts[index + 1]] if one is not None]
        if not own:
            continue
        named = _dates_in(name)
        if named and any(abs((own[0].date() - day).days) <= 1 for day in named):
            points += 3
            reasons.append(f"the name {name!r} has the same date")
        if max(own) > written[index] + timedelta(days=2):
            points -= 4
    known = [one for one in moments if one is not None]
    if known and other:
        day = timedelta(days=1)
        together = min(known) <= other[1] + day and other[0] <= max(known) + day
        points += 3 if together else -3
        reasons += ["the other export is of the same days"] if together else []
    return Evidence(points - _looseness(known), reasons[0] if reasons else "")


def _looseness(moments: Sequence[datetime]) -> float:
    """0 for rows that lie close together in time order; more for gaps of months and steps back."""
    if len(moments) < 2:
        return 0.0
    days = {moment.date() for moment in moments}
    span = (max(days) - min(days)).days + 1
    back = sum(later.date() < earlier.date() for earlier, later in pairwise(moments))
    return min(4.0, (span / len(days) - 1) / 4) + min(2.0, 40 * back / len(moments))


def _dates_in(name: str) -> list[date]:
    """Dates in a file's name, by the orders that cannot be mistaken."""
    found = []
    for year, month, day in re.findall(r"(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)", name):
        try:
            found.append(date(int(year), int(month), int(day)))
        except ValueError:
            continue
    return found
