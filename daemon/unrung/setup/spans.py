"""When a pour began and ended: which time column is which, and what a duration counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise
from statistics import median

from unrung.ledger.readings import SHORT_MS
from unrung.mapping import Constant
from unrung.records import AnyRecord, Pour
from unrung.setup.columns import by_name
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.times import forms_of, read_local
from unrung.setup.words import plain

LONG_POUR_S = "30"
"""Length that a pour without one is given: long enough that no pitcher looks like gas."""
SHORTEST_S = 30
"""Of a span that counts are over; what comes oftener follows the flow itself."""

_STARTS = {"start", "started", "begin", "from", "beginn", "anfang", "debut", "inicio", "inizio", "von", "de"}
_ENDS = {"end", "ended", "finish", "finished", "stop", "stopped", "ende", "fin", "to", "bis"}


def settle_span(draft: Draft, notes: Notes) -> None:
    """Two of ``start``, ``end`` and ``duration``."""
    _second_time(draft)
    if "start" in draft.fields and "end" in draft.fields:
        _put_in_order(draft)
        _drop(draft, "duration")
    elif "duration" in draft.fields:
        _duration_unit(draft, notes)
        _one_end(draft, notes)
    else:
        field = next((name for name in ("end", "start") if name in draft.fields), None)
        if field and is_interval(draft, field):
            _count_span(draft, field, notes)
        elif field:
            draft.fields["end"] = draft.fields.pop(field)
            draft.fields["duration"] = Constant(const=LONG_POUR_S)
            notes.note(
                f"{draft.name}: duration",
                f"The meters write one time per pour; it is taken for its end, {LONG_POUR_S} seconds "
                "after the start.",
            )


def take_end(draft: Draft) -> None:
    """Map ``end`` of a log to a free column of times that come after those of ``at``, under whatever header:
    a cleaning without its end would leave its water in the beer."""
    if draft.carries != "log" or "end" in draft.fields or "at" not in draft.fields:
        return
    used = {name for names in draft.fields.values() if isinstance(names, tuple) for name in names}
    for one in draft.facts:
        if one.time_kind == "moment" and one.column.name not in used:
            starts, ends = _moments(draft, "at"), _read(one.column.texts)
            both = [end > start for start, end in zip(starts, ends, strict=True) if start and end]
            if both and all(both):
                draft.fields["end"] = (one.column.name,)
                return


def _count_span(draft: Draft, field: str, notes: Notes) -> None:
    """Counts over a span: as long as from one stroke of the clock to the next; its time is that of its end or
    its start."""
    moments = sorted({one for one in _moments(draft, field) if one is not None})
    steps = Counter((later - earlier).total_seconds() for earlier, later in pairwise(moments))
    length = f"{steps.most_common(1)[0][0]:.0f}" if steps else LONG_POUR_S
    title = by_name(draft.facts, draft.fields[field][0]).column.title
    said = "end" if _says_end(title) else "start" if set(plain(title).split()) & _STARTS else ""
    why = "most meters that count over spans write where one begins"
    choices = (("start", "the count is of what flowed after it"), ("end", "of what flowed before it"))
    doubt = Doubt("interval", f"Is {title!r} the start or the end of a count?", choices, "start", why)
    kept = notes.settle(f"{draft.name}: interval", Found(said or "start", why, None if said else doubt))
    draft.fields["end" if kept == "end" else "start"] = draft.fields.pop(field)
    draft.fields["duration"] = Constant(const=length)
    draft.why["duration"] = "seconds from one count to the next"


def over_spans(draft: Draft, records: Sequence[AnyRecord]) -> bool:
    """Whether the meters of a feed tell no single pours: they count over spans, or write running totals so
    seldom that most rises have no time."""
    lengths = [one.end_ms - one.start_ms for one in records if isinstance(one, Pour)]
    seldom = draft.carries == "readings" and bool(lengths) and median(lengths) > SHORT_MS
    return draft.resolution == "interval" or seldom


def _second_time(draft: Draft) -> None:
    """A time column that no header names, beside one that was found."""
    have = [name for name in ("start", "end") if name in draft.fields]
    used = {name for names in draft.fields.values() if isinstance(names, tuple) for name in names}
    used |= set(draft.beside.values())
    free = [
        one for one in draft.facts
        if one.time_kind == "moment" and one.filled > 0.9 and one.column.name not in used
    ]
    if len(have) == 1 and free and "duration" not in draft.fields:
        draft.fields["end" if have[0] == "start" else "start"] = (free[0].column.name,)


def _put_in_order(draft: Draft) -> None:
    """The earlier one is the start, whatever the headers seem to say."""
    pairs = list(zip(_moments(draft, "start"), _moments(draft, "end"), strict=True))
    later = [a > b for a, b in pairs if a is not None and b is not None]
    if later and sum(later) > 0.5 * len(later):
        draft.fields["start"], draft.fields["end"] = draft.fields["end"], draft.fields["start"]


def _moments(draft: Draft, field: str) -> list[datetime | None]:
    return _read(draft.texts(field))


def _read(texts: list[str]) -> list[datetime | None]:
    forms = forms_of([text for text in dict.fromkeys(texts) if text.strip()])
    return read_local(forms[0].form, texts) if forms else [None] * len(texts)


def _one_end(draft: Draft, notes: Notes) -> None:
    """Whether the only time is the start or the end: by its header, else the end."""
    field = "start" if "start" in draft.fields else "end"
    title = by_name(draft.facts, draft.fields[field][0]).column.title
    if field == "end" and not _says_end(title):
        notes.note(
            f"{draft.name}: end",
            f"{title!r} does not say whether a pour began or ended then; taken for its end (a few seconds).",
        )


def _says_end(title: str) -> bool:
    return bool(set(plain(title).split()) & _ENDS)


def _duration_unit(draft: Draft, notes: Notes) -> None:
    """Seconds, milliseconds or minutes: by the header, else by what a hand can draw."""
    facts = by_name(draft.facts, draft.fields["duration"][0])
    said = set(plain(facts.column.title).split())
    unit = "ms" if said & {"ms", "millis", "milliseconds"} else "min" if said & {"min", "minutes"} else ""
    if not unit and said & {"s", "sec", "secs", "seconds", "sekunden"}:
        unit = "s"
    middle = median(facts.numbers) if facts.numbers else 0
    by_value = "ms" if middle > 500 else "s"
    if not unit:
        doubt = Doubt(
            f"{draft.name}: duration", f"In what unit is {facts.column.title!r}?",
            (("s", "seconds"), ("ms", "milliseconds"), ("min", "minutes")), by_value,
            f"a usual pour then takes {middle / (1000 if by_value == 'ms' else 1):g} s",
        )
        clear = 2 < middle < 60 or 2000 < middle < 60_000
        unit = notes.settle(f"{draft.name}: duration", Found(by_value, doubt.why, None if clear else doubt))
    if unit != "s":
        draft.formats["duration_unit"] = unit


def _drop(draft: Draft, field: str) -> None:
    if field in draft.fields:
        draft.fields.pop(field)


def is_interval(draft: Draft, field: str) -> bool:
    """Whether the times of rows are those of a clock that strikes, not of pours: all on whole multiples of
    five minutes, or the same for several taps again and again. A date and a time in two columns count as one
    time."""
    moments = [one for one in _moments(draft, field) if one is not None]
    if len(moments) < 10:
        return False
    return all(one.minute % 5 == 0 and one.second == 0 for one in moments) or _strikes(moments)


def _strikes(moments: list[datetime]) -> bool:
    """Whether nearly every moment has several rows, and comes as long after the one before as the others."""
    different = sorted(set(moments))
    steps = Counter((later - earlier).total_seconds() for earlier, later in pairwise(different))
    length, times = steps.most_common(1)[0] if steps else (0.0, 0)
    return len(moments) >= 2 * len(different) and length >= SHORTEST_S and times >= 0.9 * steps.total()
