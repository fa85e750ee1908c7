"""Mapped texts to keg events."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import get_args

from unrung.errors import UnrungError
from unrung.records import KegEvent, KegKind
from unrung.units import keg_size_ul
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.numerals import number_reader
from unrung_adapters.plan import Plan, kind_reader
from unrung_adapters.quantities import grams, money_minor, units_micro, volume_ul

ORDER = (
    "at", "kind", "tap", "product", "outlet", "keg", "size", "units", "part", "gross_kg", "tare_kg",
    "cost", "to_outlet", "id", "version",
)
_ONE = 1_000_000
_LONGEST = 40


def keg_builder(plan: Plan) -> Callable[[tuple[str, ...]], KegEvent]:
    """A function from the texts of one keg event, in ``ORDER``, to the event."""
    mapping, moments = plan.mapping, plan.moments
    formats = mapping.formats
    kind_of = kind_reader("kind", mapping, get_args(KegKind))
    size_of, part_of = _size_reader(plan), volume_ul("part", formats)
    units_of = units_micro("units", formats, negative=False)
    gross_of, tare_of = grams("gross_kg", formats), grams("tare_kg", formats)
    cost_of = money_minor("cost", formats, mapping.currency_digits)

    def build(texts: tuple[str, ...]) -> KegEvent:
        (at, kind, tap, product, outlet, keg, size, units, part, gross, tare, cost, to_outlet,
         ref, version) = texts
        return KegEvent.model_validate({
            "line": 0, "ref": ref.strip(), "version": version.strip(),
            "at_ms": moments.in_order("at", at), "at_text": at, "kind": kind_of(kind),
            "tap": tap.strip(), "product": product.strip(), "outlet": outlet.strip(),
            "keg": keg.strip(), "size_ul": _unless_empty(size_of, size),
            "units_micro": units_of(units) if units.strip() else _full_kegs(part, gross),
            "part_ul": _unless_empty(part_of, part), "gross_g": _unless_empty(gross_of, gross),
            "tare_g": _unless_empty(tare_of, tare), "to_outlet": to_outlet.strip(),
            "cost_minor": _not_negative(cost, _unless_empty(cost_of, cost)),
        })

    return build


def _full_kegs(part: str, gross: str) -> int:
    """Full kegs of a row that does not say how many: one, but none where it speaks of a part-used one."""
    return 0 if part.strip() or gross.strip() else _ONE


def _unless_empty(read: Callable[[str], int], text: str) -> int | None:
    return read(text) if text.strip() else None


def _not_negative(text: str, cost: int | None) -> int | None:
    if cost is not None and cost < 0:
        raise BadValue(
            "cost", text, "is negative", "The cost of one keg is written here, without its deposit."
        )
    return cost


def _size_reader(plan: Plan) -> Callable[[str], int]:
    """A keg's contents: a number of ``formats.volume_unit``, or words such as "half barrel"."""
    formats = plan.mapping.formats
    number, volume_of = number_reader(formats), volume_ul("size", formats)

    @lru_cache(maxsize=1024, typed=True)
    def read(text: str) -> int:
        try:
            number(text)
        except Unreadable:
            return _by_words(text)
        return _not_empty(text, volume_of(text))

    return read


def _by_words(text: str) -> int:
    try:
        return _not_empty(text, keg_size_ul(text if len(text) <= _LONGEST else ""))
    except (UnrungError, ZeroDivisionError):
        raise BadValue(
            "size", text, "is not a keg size",
            "Write for example '1/2 us_bbl', 'sixth barrel', 'firkin' or '50 l'.",
        ) from None


def _not_empty(text: str, size: int) -> int:
    if not 0 < size <= 2_000_000_000:
        raise BadValue(
            "size", text, f"is {size / 1_000_000:g} litres: is the unit right?",
            "Check formats.volume_unit.",
        )
    return size
