"""Mapped texts to the columns of pours and readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import gt

from unrung.units import from_ul
from unrung_adapters.bad_value import BadValue
from unrung_adapters.batches import Bad, BuildColumns, Columns, Texts, apart, each, empty, required
from unrung_adapters.moments import Moments
from unrung_adapters.plan import Plan
from unrung_adapters.quantities import count, duration_ms, volume_ul

POUR_ORDER = (
    "tap", "meter", "start", "end", "duration", "volume", "pulses", "id", "version",
)
READING_ORDER = ("meter", "at", "total", "pulses", "id", "version")

AGREE_MS = 2_000
"""Start, end and duration of one row may differ by this much where a source gives all three."""


def pour_columns(plan: Plan) -> BuildColumns:
    """A function from the texts of flows to the columns of their pours."""
    span, most_ul = _span_reader(plan), plan.mapping.max_pour_ul
    enter_amounts = _amounts(plan, "volume", "volume_ul")

    def build(texts: Texts, bad: Bad) -> Columns:
        starts, ends = texts["start"], texts["end"]
        start_ms, end_ms = _plain_spans(plan.moments, texts) or _spans(
            span, starts, ends, texts["duration"], bad)
        columns: Columns = {
            "start_ms": start_ms, "end_ms": end_ms,
            "at_text": [end if end.strip() else start for start, end in zip(starts, ends, strict=True)],
        }
        enter_amounts(texts, columns, bad)
        for number, ul in enumerate(columns.get("volume_ul", ())):
            if ul is not None and ul > most_ul:
                bad.setdefault(number, _too_much(texts["volume"][number], ul))
        columns["tap"] = _taps(texts, bad)
        return columns

    return build


def reading_columns(plan: Plan) -> BuildColumns:
    """A function from the texts of counts to the columns of their readings."""
    moments, enter_amounts = plan.moments, _amounts(plan, "total", "total_ul")

    def build(texts: Texts, bad: Bad) -> Columns:
        at = texts["at"]
        columns: Columns = {"at_ms": moments.column("at", at, bad), "at_text": at}
        enter_amounts(texts, columns, bad)
        columns["meter"] = required("meter", texts, bad)
        return columns

    return build


def _spans(
    span: Callable[[str, str, str], tuple[int, int]], starts: Sequence[str], ends: Sequence[str],
    durations: Sequence[str], bad: Bad,
) -> tuple[list[int], list[int]]:
    rows = list(zip(starts, ends, durations, strict=True))
    spans = [found or (0, 0) for found in each(lambda row: span(*row), rows, bad)]
    return [start for start, _ in spans], [end for _, end in spans]


def _plain_spans(moments: Moments, texts: Texts) -> tuple[list[int], list[int]] | None:
    """Starts and ends in one go, as is usual: where every row has both, no duration is mapped to agree with
    them, and none ends before it starts. None where a row has to be looked at by itself."""
    if "duration" in texts or (end_ms := moments.plain(texts["end"])) is None:
        return None
    start_ms = moments.plain(texts["start"])
    if start_ms is None or any(map(gt, start_ms, end_ms)):
        return None
    moments.follow(end_ms)
    return start_ms, end_ms


def _taps(texts: Texts, bad: Bad) -> list[str]:
    """The tap, else the meter: as the source names it."""
    found = [text.strip() for text in texts["tap"]]
    if not all(found):
        meters = texts["meter"]
        for number, text in enumerate(found):
            if not text:
                found[number] = meters[number].strip()
                if not found[number]:
                    bad.setdefault(number, empty("meter" if meters[number] else "tap", meters[number]))
    return found


def _too_much(text: str, ul: int) -> BadValue:
    litres = f"{from_ul(ul, 'l', 1):f}".removesuffix(".0")
    return BadValue(
        "volume", text, f"{litres} litres in one pour: is the unit right?",
        "Set formats.volume_unit, formats.decimal and formats.thousands to how the source "
        "writes volumes.",
    )


def _amounts(plan: Plan, field: str, name: str) -> Callable[[Texts, Columns, Bad], None]:
    """Enters a volume where a row has one, else pulses: they wait for the factor of the tap."""
    volume_of = volume_ul(field, plan.mapping.formats)
    pulses_of = count("pulses", plan.mapping.formats)

    def enter(texts: Texts, columns: Columns, bad: Bad) -> None:
        if "pulses" not in texts:
            columns[name] = apart(volume_of, texts[field], bad)
        elif field not in texts:
            columns["pulses"] = apart(pulses_of, texts["pulses"], bad)
        else:
            both = list(zip(texts[field], texts["pulses"], strict=True))
            columns[name] = each(lambda row: volume_of(row[0]) if row[0].strip() else None, both, bad)
            columns["pulses"] = each(lambda row: None if row[0].strip() else pulses_of(row[1]), both, bad)

    return enter


def _span_reader(plan: Plan) -> Callable[[str, str, str], tuple[int, int]]:
    """Start and end, UTC milliseconds, from two or three of start, end and duration."""
    moments, length_of = plan.moments, duration_ms("duration", plan.mapping.formats)

    def read(start: str, end: str, duration: str) -> tuple[int, int]:
        length = length_of(duration) if duration and duration.strip() else None
        if not end or not end.strip():
            start_ms = moments.in_order("start", start)
            if length is None:
                raise _no_span("end", end)
            return start_ms, moments.within("duration", duration, start_ms + length)
        end_ms = moments.in_order("end", end)
        if not start or not start.strip():
            if length is None:
                raise _no_span("start", start)
            return moments.within("duration", duration, end_ms - length), end_ms
        start_ms = moments.not_after("start", start, end_ms)
        _agree(start, end, duration, end_ms - start_ms, length)
        return start_ms, end_ms

    return read


def _agree(start: str, end: str, duration: str, between: int, length: int | None) -> None:
    if between < 0:
        raise BadValue(
            "end", end, f"is before the start ({start})", "Check which column is start and which end."
        )
    if length is not None and abs(between - length) > AGREE_MS:
        raise BadValue(
            "duration", duration,
            f"start and end are {between / 1000:g} s apart, the duration says {length / 1000:g} s",
            "Check formats.duration_unit, or map two of start, end and duration.",
        )


def _no_span(field: str, text: str) -> BadValue:
    return BadValue(
        field, text, "is empty, and so is the duration",
        "A pour needs two of start, end and duration.",
    )
