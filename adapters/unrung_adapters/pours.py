"""Mapped texts to pours and readings."""

from __future__ import annotations

from collections.abc import Callable

from unrung.records import Pour, Reading
from unrung.units import from_ul
from unrung_adapters.bad_value import BadValue
from unrung_adapters.plan import Build, Plan, required
from unrung_adapters.quantities import count, duration_ms, volume_ul

POUR_ORDER = (
    "tap", "meter", "start", "end", "duration", "volume", "pulses", "id", "version",
)
READING_ORDER = ("meter", "at", "total", "pulses", "id", "version")

AGREE_MS = 2_000
"""Start, end and duration of one row may differ by this much where a source gives all three."""

Amount = tuple[int | None, int | None]
"""Microlitres, pulses: one of them None."""


def pour_builder(plan: Plan) -> Build:
    """A function from the texts of one flow, in ``POUR_ORDER``, to its pour."""
    span, most_ul = _span_reader(plan), plan.mapping.max_pour_ul
    amount = _amount_reader(plan, "volume")
    validate: Callable[[object], Pour] = Pour.__pydantic_validator__.validate_python

    def build(line: int, texts: tuple[str, ...], raw: str) -> Pour:
        tap, meter, start, end, duration, volume, pulses, ref, version = texts
        start_ms, end_ms = span(start, end, duration)
        ul, ticks = amount(volume, pulses)
        if ul is not None and ul > most_ul:
            litres = f"{from_ul(ul, 'l', 1):f}".removesuffix(".0")
            raise BadValue(
                "volume", volume, f"{litres} litres in one pour: is the unit right?",
                "Set formats.volume_unit, formats.decimal and formats.thousands to how the source "
                "writes volumes.",
            )
        return validate({
            "line": line, "ref": ref.strip(), "version": version.strip(), "raw": raw,
            "tap": tap.strip() or required("meter" if meter else "tap", meter),
            "start_ms": start_ms, "end_ms": end_ms, "at_text": end if end.strip() else start,
            "volume_ul": ul, "pulses": ticks,
        })

    return build


def reading_builder(plan: Plan) -> Build:
    """A function from the texts of one count, in ``READING_ORDER``, to its reading."""
    moments, amount = plan.moments, _amount_reader(plan, "total")

    def build(line: int, texts: tuple[str, ...], raw: str) -> Reading:
        meter, at, total, pulses, ref, version = texts
        at_ms = moments.in_order("at", at)
        ul, ticks = amount(total, pulses)
        return Reading.model_validate({
            "line": line, "ref": ref.strip(), "version": version.strip(), "raw": raw,
            "meter": required("meter", meter), "at_ms": at_ms, "at_text": at, "total_ul": ul,
            "pulses": ticks,
        })

    return build


def _amount_reader(plan: Plan, field: str) -> Callable[[str, str], Amount]:
    """A volume where the row has one, else pulses: they wait for the factor of the tap."""
    volume_of = volume_ul(field, plan.mapping.formats)
    pulses_of = count("pulses", plan.mapping.formats)
    by_pulses = "pulses" in plan.mapped
    only_pulses = by_pulses and field not in plan.mapped

    def read(volume: str, pulses: str) -> Amount:
        if only_pulses or (by_pulses and not volume.strip()):
            return None, pulses_of(pulses)
        return volume_of(volume), None

    return read


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
