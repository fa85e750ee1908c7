"""Mapped texts to the columns of rings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from unrung.records import RingKind
from unrung_adapters.bad_value import BadValue
from unrung_adapters.batches import Bad, BuildColumns, Columns, Texts, apart, required
from unrung_adapters.moments import Moments
from unrung_adapters.plan import Plan, kind_reader
from unrung_adapters.quantities import half_even, money_minor, or_none, units_micro

ORDER = (
    "at", "item", "id", "version", "size", "price_level", "modifier", "units", "kind", "amount",
    "tax", "check", "terminal", "outlet", "voided_at", "voids", "staff",
)
_ONE = 1_000_000


def ring_columns(plan: Plan) -> BuildColumns:
    """A function from the texts of till lines to the columns of their rings."""
    mapping, moments = plan.mapping, plan.moments
    formats = mapping.formats
    units_of = units_micro("units", formats, negative=True)
    amount_of = or_none(money_minor("amount", formats, mapping.currency_digits))
    tax_of = or_none(money_minor("tax", formats, mapping.currency_digits))
    kind_of = kind_reader(
        "kind", mapping, get_args(RingKind), "" if formats.kinds_strict else "sale"
    )

    def build(texts: Texts, bad: Bad) -> Columns:
        at = texts["at"]
        columns: Columns = {"at_ms": moments.column("at", at, bad), "at_text": at, **texts.bare(_BARE)}
        if "units" in texts:
            columns["units_micro"] = apart(units_of, texts["units"], bad)
        if "kind" in texts:
            columns["kind"] = apart(kind_of, texts["kind"], bad)
        if "voided_at" in texts:
            _enter_voids(texts["voided_at"], moments, columns, bad)
        if "units" in texts:
            _enter_taken_back(texts["units"], formats.negative_units, columns, bad)
        if "amount" in texts:
            minor = apart(amount_of, texts["amount"], bad)
            columns["amount_minor"] = _line_amounts(minor, columns) if formats.amounts == "each" else minor
        columns["item"] = required("item", texts, bad)
        if "tax" in texts:
            columns["tax_minor"] = apart(tax_of, texts["tax"], bad)
        return columns

    return build


_BARE = {
    "size": "size", "price_level": "price_level", "modifier": "modifier", "check": "check",
    "terminal": "terminal", "outlet": "outlet", "voids": "voids_ref", "staff": "staff",
}


def _enter_voids(texts: Sequence[str], moments: Moments, columns: Columns, bad: Bad) -> None:
    """When lines were voided; one that says so is a void, whatever else it would be sold as."""
    kinds = list(columns.get("kind") or ["sale"] * len(texts))
    voided: list[int | None] = [None] * len(texts)
    for number, text in enumerate(texts):
        if number not in bad and text.strip():
            try:
                voided[number] = moments.not_before("voided_at", text, columns["at_ms"][number])
            except BadValue as error:
                bad[number] = error
            if kinds[number] == "sale":
                kinds[number] = "void"
    columns |= {"kind": kinds, "voided_ms": voided}


def _enter_taken_back(texts: Sequence[str], negative: str, columns: Columns, bad: Bad) -> None:
    """What lines of negative units are."""
    back = [number for number, micro in enumerate(columns["units_micro"]) if micro is not None and micro < 0]
    if not back:
        return
    kinds = list(columns.get("kind") or ["sale"] * len(texts))
    for number in back:
        if number not in bad and kinds[number] in ("sale", "comp"):
            try:
                kinds[number] = _taken_back(texts[number], negative)
            except BadValue as error:
                bad[number] = error
    columns["kind"] = kinds


def _line_amounts(minor: Sequence[int | None], columns: Columns) -> list[int | None]:
    """Amounts of one unit each, times the units."""
    micros = columns.get("units_micro") or [_ONE] * len(minor)
    return [None if one is None or micro is None else half_even(one * micro, _ONE)
            for one, micro in zip(minor, micros, strict=True)]


def _taken_back(units: str, negative: str) -> str:
    if negative == "error":
        raise BadValue(
            "units", units, "is negative",
            'Say what that means: formats.negative_units = "void" or "refund".',
        )
    return negative
