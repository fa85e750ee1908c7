"""Mapped texts to rings."""

from __future__ import annotations

from collections.abc import Callable
from typing import get_args

from unrung.records import Ring, RingKind
from unrung_adapters.bad_value import BadValue
from unrung_adapters.plan import Build, Plan, kind_reader, required
from unrung_adapters.quantities import half_even, money_minor, units_micro

ORDER = (
    "at", "item", "id", "version", "size", "price_level", "modifier", "units", "kind", "amount",
    "tax", "check", "terminal", "outlet", "voided_at", "voids", "staff",
)
_ONE = 1_000_000


def ring_builder(plan: Plan) -> Build:
    """A function from the texts of one till line, in ``ORDER``, to its ring."""
    mapping, moments = plan.mapping, plan.moments
    formats, mapped = mapping.formats, plan.mapped
    units_of = units_micro("units", formats, negative=True)
    amount_of = money_minor("amount", formats, mapping.currency_digits)
    tax_of = money_minor("tax", formats, mapping.currency_digits)
    kind_of = kind_reader(
        "kind", mapping, get_args(RingKind), "" if formats.kinds_strict else "sale"
    )
    has_units, has_kind = "units" in mapped, "kind" in mapped
    each, negative = formats.amounts == "each", formats.negative_units
    validate: Callable[[object], Ring] = Ring.__pydantic_validator__.validate_python

    def build(line: int, texts: tuple[str, ...], raw: str) -> Ring:
        (at, item, ref, version, size, price_level, modifier, units, kind_text, amount, tax, check,
         terminal, outlet, voided_at, voids, staff) = texts
        at_ms = moments.in_order("at", at)
        micro = units_of(units) if has_units else _ONE
        kind = kind_of(kind_text) if has_kind else "sale"
        voided_ms = None
        if voided_at and voided_at.strip():
            voided_ms = moments.not_before("voided_at", voided_at, at_ms)
            kind = "void" if kind == "sale" else kind
        if micro < 0 and kind in ("sale", "comp"):
            kind = _taken_back(units, negative)
        minor = amount_of(amount) if amount else None
        if each and minor is not None:
            minor = half_even(minor * micro, _ONE)
        return validate({
            "line": line, "ref": ref.strip(), "version": version.strip(), "raw": raw,
            "at_ms": at_ms, "at_text": at, "item": required("item", item), "size": size.strip(),
            "price_level": price_level.strip(), "modifier": modifier.strip(),
            "units_micro": micro, "kind": kind, "amount_minor": minor,
            "tax_minor": tax_of(tax) if tax else None, "check": check.strip(),
            "terminal": terminal.strip(), "outlet": outlet.strip(), "voided_ms": voided_ms,
            "voids_ref": voids.strip(), "staff": staff.strip(),
        })

    return build


def _taken_back(units: str, negative: str) -> str:
    if negative == "error":
        raise BadValue(
            "units", units, "is negative",
            'Say what that means: formats.negative_units = "void" or "refund".',
        )
    return negative
