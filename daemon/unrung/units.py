"""Exact units of volume, and the sizes kegs come in.

Every unit is an exact fraction of a microlitre, so that a conversion rounds once, half to even.
Sources: the US gallon is 231 cubic inches (NIST Handbook 44, Appendix C; 27 CFR 7.10); the
imperial gallon is 4.54609 L (Units of Measurement Regulations 1995, SI 1995/1804; NIST SP 811,
Appendix B.8); a US beer barrel holds 31 US gallons (27 CFR 25.11, 25.156). UK cask sizes are
multiples of the imperial gallon (trade usage, no statute found).
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import lru_cache

from unrung.errors import UnrungError

UNITS_UL: dict[str, Fraction] = {
    "ul": Fraction(1),
    "ml": Fraction(1_000),
    "cl": Fraction(10_000),
    "dl": Fraction(100_000),
    "l": Fraction(1_000_000),
    "hl": Fraction(100_000_000),
    "us_fl_oz": Fraction(231 * 254**3, 1000 * 128),
    "us_pt": Fraction(231 * 254**3, 1000 * 8),
    "us_gal": Fraction(231 * 254**3, 1000),
    "imp_fl_oz": Fraction(4_546_090, 160),
    "imp_pt": Fraction(4_546_090, 8),
    "imp_gal": Fraction(4_546_090),
}
"""Microlitres in one of each unit, exactly."""

UNIT_LABELS = {
    "us_fl_oz": "fl oz", "imp_fl_oz": "imp fl oz", "ml": "mL", "cl": "cL", "dl": "dL", "l": "L",
    "hl": "hL", "us_gal": "gal", "imp_gal": "imp gal", "us_pt": "US pt", "imp_pt": "pt",
}

SHOWN_PLACES = {"us_fl_oz": 0, "us_gal": 2, "imp_fl_oz": 0, "imp_pt": 1, "ml": 0, "l": 1}
"""Decimals of a volume as people are shown it, by the venue's unit: whole litres, pints and gallons are
too coarse for a table of glasses."""

_KEG_WORDS: dict[str, Fraction] = {
    "us_bbl": 31 * UNITS_UL["us_gal"],
    "half barrel": 31 * UNITS_UL["us_gal"] / 2,
    "third barrel": 31 * UNITS_UL["us_gal"] / 3,
    "quarter barrel": 31 * UNITS_UL["us_gal"] / 4,
    "sixth barrel": 31 * UNITS_UL["us_gal"] / 6,
    "eighth barrel": 31 * UNITS_UL["us_gal"] / 8,
    "pin": Fraction(9, 2) * UNITS_UL["imp_gal"],
    "firkin": 9 * UNITS_UL["imp_gal"],
    "kilderkin": 18 * UNITS_UL["imp_gal"],
    "uk_bbl": 36 * UNITS_UL["imp_gal"],
    "hogshead": 54 * UNITS_UL["imp_gal"],
}
_VOLUME_WORDS = {
    "l": "l", "litre": "l", "litres": "l", "liter": "l", "liters": "l", "ml": "ml", "cl": "cl",
    "dl": "dl", "hl": "hl",
    "us gal": "us_gal", "us_gal": "us_gal", "imp gal": "imp_gal", "imp_gal": "imp_gal",
    "us fl oz": "us_fl_oz", "us_fl_oz": "us_fl_oz", "imp fl oz": "imp_fl_oz",
    "imp_fl_oz": "imp_fl_oz", "imp pt": "imp_pt", "imp_pt": "imp_pt", "us pt": "us_pt",
    "us_pt": "us_pt",
}
_SIZE = re.compile(r"^\s*(?:([0-9]+(?:\.[0-9]+)?)(?:\s*/\s*([0-9]+))?)?\s*([A-Za-z_ ]*?)\s*$")


_SIZES: dict[str, tuple[int, int]] = {unit: size.as_integer_ratio() for unit, size in UNITS_UL.items()}


def to_ul(amount: Decimal | Fraction | int, unit: str) -> int:
    """``amount`` of ``unit`` in whole microlitres, rounded half to even.

    >>> to_ul(16, "us_fl_oz"), to_ul(1, "imp_pt")
    (473176, 568261)
    """
    return round(Fraction(amount) * UNITS_UL[unit])


def from_ul(volume_ul: int, unit: str, places: int = 3) -> Decimal:
    """``volume_ul`` in ``unit``, rounded half to even at ``places`` decimals.

    >>> from_ul(473_176, "us_fl_oz")
    Decimal('16.000')
    """
    return Decimal(thousandths(volume_ul, unit, places)).scaleb(-places)


@lru_cache(maxsize=4096)  # a day's files, page and mail ask for the same figures
def thousandths(volume_ul: int, unit: str, places: int = 3) -> int:
    """``volume_ul`` in the last of ``places`` decimals of ``unit``, half to even, in whole numbers.

    >>> thousandths(473_176, "us_fl_oz"), thousandths(-1_500, "ml", 0), thousandths(2_500, "ml", 0)
    (16000, -2, 2)
    """
    size, parts = _SIZES[unit]
    whole, rest = divmod(volume_ul * parts * 10**places, size)
    twice = 2 * rest
    return int(whole + (twice > size or (twice == size and whole % 2 == 1)))


def step_ul(unit: str) -> Fraction:
    """Microlitres in one of the last decimal that people are shown.

    >>> step_ul("l"), step_ul("ml")
    (Fraction(100000, 1), Fraction(1000, 1))
    """
    return UNITS_UL[unit] / Fraction(10 ** SHOWN_PLACES[unit])


def ratio_ul(numerator: Decimal, unit: str) -> Fraction:
    """``numerator`` of ``unit`` as an exact, unrounded number of microlitres."""
    return Fraction(numerator) * UNITS_UL[unit]


def pulses_to_ul(pulses: int, pulses_per_litre: Decimal) -> int:
    """Volume of a count of pulses: pulses / K, rounded half to even once (never per pulse).

    >>> pulses_to_ul(5600, Decimal("5600"))
    1000000
    """
    size, parts = pulses_per_litre.as_integer_ratio()
    whole, rest = divmod(pulses * 1_000_000 * parts, size)
    return whole + (2 * rest > size or (2 * rest == size and whole % 2 == 1))


def keg_size_ul(text: str) -> int:
    """A keg's rated contents from text such as "1/2 us_bbl", "50 l", "half barrel", "firkin".

    A bare "barrel" or "bbl" is refused: it holds 31 US gallons for beer, 31.5 or 42 for other
    goods, and 36 imperial gallons in the UK (NIST Handbook 44, Appendix C, footnote).

    >>> keg_size_ul("1/2 us_bbl"), keg_size_ul("50 l")
    (58673883, 50000000)
    """
    return round(keg_size_exact_ul(text))


def keg_size_exact_ul(text: str) -> Fraction:
    """Like :func:`keg_size_ul`, unrounded."""
    found = _SIZE.match(text)
    word = " ".join(found.group(3).lower().split()) if found else ""
    parts = [Fraction(part) for part in found.groups()[:2] if part] if found else []
    if found is None or (not word and not parts) or 0 in parts:
        raise UnrungError(f"{text!r} is not a keg size; write for example '1/2 us_bbl' or '50 l'")
    number = Fraction(found.group(1) or "1") / Fraction(found.group(2) or "1")
    if word in ("bbl", "barrel", "barrels"):
        raise UnrungError(
            f"{text!r}: a barrel is 31 US gallons or 36 imperial ones; write us_bbl or uk_bbl"
        )
    if word in _KEG_WORDS:
        return number * _KEG_WORDS[word]
    if word in _VOLUME_WORDS:
        return number * UNITS_UL[_VOLUME_WORDS[word]]
    raise UnrungError(
        f"{text!r} is not a keg size: unknown unit {word!r}; known are "
        + ", ".join(sorted({*_KEG_WORDS, *_VOLUME_WORDS}))
    )


def leaf(volume_ul: int, unit: str) -> Decimal:
    """A ledger leaf as printed: 3 decimals of the venue's unit, half to even."""
    return from_ul(volume_ul, unit, 3)


def quantized(value: Decimal, places: int) -> Decimal:
    """``value`` at ``places`` decimals, half to even."""
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
