"""The unit of a feed's volumes: by the words of the header, else by what bars pour."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.errors import UnrungError
from unrung.setup.columns import by_name
from unrung.setup.counters import steps
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.facts import Facts
from unrung.setup.meet import least_serve, middle_by_volume, usual_serve
from unrung.setup.spans import is_interval
from unrung.setup.words import plain
from unrung.units import UNITS_UL

_WORDS = {
    "ml": "ml|millilitre|millilitres|milliliter|milliliters|mls",
    "cl": "cl|centilitre|centilitres|centiliter|zentiliter",
    "dl": "dl|decilitre|decilitres|deciliter|deciliters|deziliter|dezi",
    "hl": "hl|hectolitre|hectolitres|hectoliter|hektoliter",
    "l": "l|litre|litres|liter|liters|litros|litri|ltr",
    "oz": "oz|ounce|ounces|floz|fl",
    "us_pt": "pint|pints|pt",
    "us_gal": "gal|gallon|gallons",
}
_SERVED_ML = (200, 250, 284.131, 295.735, 300, 330, 354.882, 379, 400, 473.176, 500, 568.261, 591.471)
"""Usual serves: metric sizes, the half, two thirds and whole imperial pint, 10, 12, 16, 20 US fl oz."""


_FEW = 10
_NEAR = 0.3
"""Share of pours that are near a usual serve, from which a unit is believed."""


def settle_volumes(draft: Draft, notes: Notes) -> None:
    """``formats.volume_unit`` for whatever volume is mapped."""
    field: str | None = next((name for name in ("volume", "part") if name in draft.fields), None)
    if "volume" in draft.fields and draft.carries == "pours":
        _pulses_after_all(draft)
        field = "volume" if "volume" in draft.fields else None
    if draft.carries == "pours":
        _drop_other_count(draft)
        main = "end" if "end" in draft.fields else "start"
        draft.resolution = "interval" if is_interval(draft, main) else "single"
    if draft.carries == "readings" and "total" in draft.fields:
        field = "total"
    if draft.carries == "kegs" and "size" in draft.fields and field is None:
        field = "size" if by_name(draft.facts, draft.fields["size"][0]).numbers else None
    if field is None:
        return
    facts = by_name(draft.facts, draft.fields[field][0])
    if draft.carries == "pours" and field == "volume" and _like_quantities(facts):
        raise UnrungError(
            f"{draft.samples[0].name} does not look like pours: {facts.column.title!r} holds 1, 2 or 3 "
            "in nearly every row, as a till's quantities do. Were --rings and --pours exchanged?"
        )
    about = f"{draft.name}: volume_unit"
    numbers = steps(draft, field) if draft.carries == "readings" else facts.numbers
    spans = draft.carries == "readings" or draft.resolution == "interval"
    found = unit_of(facts, draft.side, numbers, _smallest(numbers) if spans else ())
    draft.formats["volume_unit"] = notes.settle(about, found)


def _smallest(numbers: Sequence[float]) -> Sequence[float]:
    """Of counts over spans, which hold several glasses: those that are likeliest to hold one."""
    flowed = sorted(number for number in numbers if number > 0)
    return flowed[: max(_FEW, len(flowed) // 5)]


def unit_of(
    facts: Facts, carries: str, numbers: Sequence[float], glasses: Sequence[float] = ()
) -> Found:
    """The unit of a volume column; ``numbers``: what flowed; ``glasses``: of counts over spans, those that
    are likeliest of one glass."""
    title = set(plain(facts.column.title).split())
    said = [unit for unit, words in _WORDS.items() if title & set(words.split("|"))]
    if carries == "pours":
        said = [unit for unit in said if _could_be(numbers, "us_fl_oz" if unit == "oz" else unit)]
    if said == ["oz"]:
        return _ounces(facts, carries, numbers)
    if len(said) == 1:
        return Found(said[0], f"its header {facts.column.title!r} says so")
    if carries != "pours":
        usual = ["us_fl_oz", "ml", "l", "imp_fl_oz", "us_gal"]
        return _asked(facts, usual, "nothing but habit speaks for it")
    fits = {
        unit: max(near_serves(numbers, unit), near_serves(glasses, unit) if glasses else 0.0)
        for unit in ("ml", "us_fl_oz", "cl", "l", "imp_fl_oz", "dl")
    }
    ranked = sorted(fits, key=lambda unit: -fits[unit])
    best, second = ranked[0], ranked[1]
    why = f"{fits[best]:.0%} of the pours then are of a usual size"
    if fits[best] >= _NEAR and fits[best] > 1.7 * fits[second]:
        return Found(best, why)
    return _asked(facts, ranked, why)


def _like_quantities(facts: Facts) -> bool:
    """Whether nearly every figure is a small whole number. No meter is as coarse as that."""
    small = sum(number in (1, 2, 3) for number in facts.numbers)
    return len(facts.numbers) >= 10 and small >= 0.9 * len(facts.numbers)


def _could_be(numbers: Sequence[float], unit: str) -> bool:
    """Whether the usual pour in this unit is one that a glass holds: no header makes it 400 litres."""
    return not numbers or 20 < middle_by_volume(numbers) * float(UNITS_UL[unit]) / 1000 < 5000


def near_serves(numbers: Sequence[float], unit: str) -> float:
    """Share of pours within 3 % of a usual serve, were they in ``unit``.

    >>> near_serves([0.47, 0.5, 0.33], "l"), near_serves([0.47, 0.5, 0.33], "ml")
    (1.0, 0.0)
    """
    size_ml = float(UNITS_UL[unit]) / 1000
    least = least_serve(numbers)
    serves = [number for number in numbers if number >= least]
    near = [any(abs(n * size_ml / serve - 1) < 0.03 for serve in _SERVED_ML) for n in serves]
    return sum(near) / len(near) if near else 0.0


def _ounces(facts: Facts, carries: str, numbers: Sequence[float]) -> Found:
    """An imperial fluid ounce is 4 % smaller than a US one: pours of 20, 10 and 13.3 say imperial."""
    if carries == "pours" and numbers:
        twenties = _around(numbers, 20) + _around(numbers, 10) + _around(numbers, 13.33)
        sixteens = _around(numbers, 16) + _around(numbers, 12)
        if twenties > 0.4 and sixteens < 0.02:
            why = "its pours are of 20 and 10, whole and half pints"
            return _asked(facts, ["imp_fl_oz", "us_fl_oz"], why)
    return Found("us_fl_oz", f"its header {facts.column.title!r} says so")


def _around(numbers: Sequence[float], serve: float) -> float:
    return sum(abs(number / serve - 1) < 0.04 for number in numbers) / len(numbers)


def _asked(facts: Facts, units: list[str], why: str) -> Found:
    middle = middle_by_volume(facts.numbers)
    question = f"In what unit is {facts.column.title!r}? Its middle value is {middle:g}."
    doubt = Doubt("volume_unit", question, tuple((unit, "") for unit in units), units[0], why)
    return Found(units[0], why, doubt)


def _pulses_after_all(draft: Draft) -> None:
    """A column of whole numbers too large for millilitres that no unit is named of counts pulses."""
    facts = by_name(draft.facts, draft.fields["volume"][0])
    named = any(set(plain(facts.column.title).split()) & set(words.split("|")) for words in _WORDS.values())
    if not named and facts.whole == 1.0 and usual_serve(facts.numbers) > 900:
        draft.fields["pulses"] = draft.fields.pop("volume")


def _drop_other_count(draft: Draft) -> None:
    """Where both stand in a row, the volume is the meter's own word."""
    if "volume" in draft.fields and "pulses" in draft.fields:
        if by_name(draft.facts, draft.fields["volume"][0]).column.values:
            draft.fields.pop("pulses")
        else:
            draft.fields.pop("volume")
