"""Volumes against a regulation, handbooks and an independent library of units.

Sources: 27 CFR 25.156 and 25.158 (barrel equivalents to five decimals, public domain); NIST
Handbook 44, Appendix C (US gallon 231 cubic inches; the several barrels); NIST SP 811, Appendix B.8
(imperial gallon 4.54609 L); SI 1988/2039 with SI 2011/2331 (UK measures for draught beer). UK cask
sizes are trade usage, no statute found. The library is pint, whose plain ``gallon``, ``pint`` and
``fluid_ounce`` are the US ones and whose plain ``barrel`` is not a beer barrel.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unrung.errors import UnrungError
from unrung.units import (
    UNIT_LABELS,
    UNITS_UL,
    from_ul,
    keg_size_exact_ul,
    keg_size_ul,
    leaf,
    pulses_to_ul,
    quantized,
    ratio_ul,
    to_ul,
)

BARREL_UL = keg_size_exact_ul("us_bbl")


@cache
def registry() -> Any:
    """Pint's own units; it takes a second to read them."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


# 27 CFR 25.158(a): fluid ounces a bottle, bottles a case, barrels
BOTTLES = """
6 12 .01815   6 24 .03629   7 12 .02117   7 24 .04234   7 32 .05645   7 35 .06174   7 36 .06351
7 40 .07056   7 48 .08468   8 12 .02419   8 24 .04839   8 36 .07258   8 48 .09677   10 12 .03024
10 24 .06048  10 48 .12097  11 12 .03327  11 24 .06653  11.5 24 .06956  12 12 .03629  12 15 .04536
12 20 .06048  12 24 .07258  12 30 .09073  12 48 .14516  12 50 .15121  14 12 .04234  14 24 .08468
16 12 .04839  16 24 .09677  22 12 .06653  22 24 .13306  24 12 .07258  24 24 .14516  30 12 .09073
32 12 .09677  40 12 .12097  64 1 .01613   64 4 .06452   64 6 .09677   128 1 .03226  288 1 .07258
""".split()
# 27 CFR 25.158(b): metric bottles; 25.156(a): kegs
METRIC = [("500", "ml", 24, ".10226"), ("750", "ml", 12, ".07670"), ("1", "l", 12, ".10226"),
          ("2", "l", 6, ".10226"), ("5", "l", 1, ".04261")]  # fmt: skip
KEGS = [("5", "us_gal", 1, ".16129"), ("30", "l", 1, ".25565"), ("50", "l", 1, ".42608")]
CASES = [
    (ounces, "us_fl_oz", int(bottles), barrels)
    for ounces, bottles, barrels in zip(BOTTLES[::3], BOTTLES[1::3], BOTTLES[2::3], strict=True)
]


def five_decimals(value: Fraction) -> Decimal:
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    return exact.quantize(Decimal("0.00001"), ROUND_HALF_UP)


def test_the_regulation_lists_fifty_sizes() -> None:
    assert len(CASES + METRIC + KEGS) == 50


@pytest.mark.parametrize(("size", "unit", "count", "barrels"), CASES + METRIC + KEGS)
def test_barrel_equivalents_are_those_of_the_regulation(
    size: str, unit: str, count: int, barrels: str
) -> None:
    exact = count * ratio_ul(Decimal(size), unit) / BARREL_UL
    assert five_decimals(exact) == Decimal(barrels)


@pytest.mark.parametrize(("size", "unit", "_count", "barrels"), KEGS)
def test_a_keg_size_in_words_is_the_size_of_the_regulation(
    size: str, unit: str, _count: int, barrels: str
) -> None:
    assert five_decimals(keg_size_exact_ul(f"{size} {unit}") / BARREL_UL) == Decimal(barrels)


@pytest.mark.parametrize(
    ("unit", "millilitres"),
    [
        ("us_gal", Fraction(473_176_473, 125_000)),  # 231 cubic inches of 2.54 cm
        ("us_fl_oz", Fraction(473_176_473, 16_000_000)),
        ("us_pt", Fraction("473.176473")),
        ("imp_gal", Fraction("4546.09")),
        ("imp_pt", Fraction("568.26125")),
        ("imp_fl_oz", Fraction("28.4130625")),
        ("cl", Fraction(10)),
        ("dl", Fraction(100)),
        ("hl", Fraction(100_000)),
        ("l", Fraction(1000)),
    ],
)
def test_a_unit_holds_exactly_what_its_standard_says(unit: str, millilitres: Fraction) -> None:
    assert UNITS_UL[unit] == 1000 * millilitres


@pytest.mark.parametrize(
    ("unit", "name"),
    [
        ("ul", "microliter"), ("ml", "milliliter"), ("cl", "centiliter"), ("l", "liter"),
        ("dl", "deciliter"), ("hl", "hectoliter"),
        ("us_fl_oz", "fluid_ounce"), ("us_pt", "liquid_pint"), ("us_gal", "gallon"),
        ("imp_fl_oz", "imperial_fluid_ounce"), ("imp_pt", "imperial_pint"),
        ("imp_gal", "imperial_gallon"),
    ],
)  # fmt: skip
def test_a_unit_agrees_with_the_library(unit: str, name: str) -> None:
    assert registry().Quantity(Fraction(1), name).to("microliter").magnitude == UNITS_UL[unit]


def test_every_unit_is_compared_and_every_unit_of_a_venue_has_a_label() -> None:
    assert set(UNITS_UL) - set(UNIT_LABELS) == {"ul"}


@pytest.mark.parametrize(
    ("size", "name"), [("us_bbl", "beer_barrel"), ("uk_bbl", "imperial_barrel")]
)
def test_a_barrel_agrees_with_the_library(size: str, name: str) -> None:
    assert registry().Quantity(Fraction(1), name).to("microliter").magnitude == keg_size_exact_ul(size)


def test_a_us_barrel_is_31_gallons_and_no_other_barrel() -> None:
    assert keg_size_ul("us_bbl") == 117_347_765  # 117.347765304 L
    assert BARREL_UL == 31 * UNITS_UL["us_gal"] == 3968 * UNITS_UL["us_fl_oz"]
    others = [registry().Quantity(1, name).to("liter").magnitude for name in ("barrel", "oil_barrel")]
    assert [round(float(litres), 3) for litres in others] == [119.24, 158.987]


@pytest.mark.parametrize("text", ["barrel", "bbl", "1/2 barrel", "1/2 BBL", " 2 barrels ", "Barrel"])
def test_a_barrel_of_no_named_kind_is_refused_with_both_choices(text: str) -> None:
    with pytest.raises(UnrungError, match="write us_bbl or uk_bbl") as caught:
        keg_size_ul(text)
    assert repr(text) in str(caught.value)


# litres at nine decimals, fl oz exactly; 27 CFR 25.156(a) names these fractions
US_KEGS = [
    ("us_bbl", "117.347765304", Fraction(3968)),
    ("1/2 us_bbl", "58.673882652", Fraction(1984)),
    ("1/3 us_bbl", "39.115921768", Fraction(3968, 3)),
    ("1/4 us_bbl", "29.336941326", Fraction(992)),
    ("1/6 us_bbl", "19.557960884", Fraction(1984, 3)),
    ("1/8 us_bbl", "14.668470663", Fraction(496)),
]


@pytest.mark.parametrize(("text", "litres", "ounces"), US_KEGS)
def test_a_fraction_of_a_us_barrel_is_exact(text: str, litres: str, ounces: Fraction) -> None:
    exact = keg_size_exact_ul(text)
    assert exact == ounces * UNITS_UL["us_fl_oz"]
    assert exact == Fraction(litres) * 1_000_000
    assert keg_size_ul(text) == round(Fraction(litres) * 1_000_000)


@pytest.mark.parametrize(
    ("words", "fraction"),
    [("half barrel", "1/2"), ("third barrel", "1/3"), ("quarter barrel", "1/4"),
     ("Sixth  Barrel", "1/6"), ("eighth barrel", "1/8")],
)  # fmt: skip
def test_a_keg_named_in_words_is_the_fraction(words: str, fraction: str) -> None:
    assert keg_size_exact_ul(words) == keg_size_exact_ul(f"{fraction} us_bbl")


def test_a_sixth_of_a_barrel_is_31_sixths_of_a_gallon_and_not_the_printed_decimal() -> None:
    sixth = keg_size_exact_ul("1/6 us_bbl")
    assert sixth == Fraction(31, 6) * UNITS_UL["us_gal"]
    assert 6 * sixth == BARREL_UL
    for printed in ("5.16", "5.17", "5.2", "5.23"):
        assert 6 * keg_size_exact_ul(f"{printed} us gal") != BARREL_UL


@pytest.mark.parametrize(
    ("keg", "portion", "unit", "servings"),
    [
        ("1/2 us_bbl", 16, "us_fl_oz", "124.00"),
        ("1/2 us_bbl", 12, "us_fl_oz", "165.33"),
        ("1/4 us_bbl", 16, "us_fl_oz", "62.00"),
        ("1/4 us_bbl", 12, "us_fl_oz", "82.67"),
        ("1/6 us_bbl", 16, "us_fl_oz", "41.33"),
        ("1/6 us_bbl", 12, "us_fl_oz", "55.11"),
        ("50 l", 16, "us_fl_oz", "105.67"),
        ("50 l", 1, "imp_pt", "87.99"),
        ("11 imp gal", 1, "imp_pt", "88.00"),
        ("pin", 1, "imp_pt", "36.00"),
        ("firkin", 1, "imp_pt", "72.00"),
        ("kilderkin", 1, "imp_pt", "144.00"),
        ("uk_bbl", 1, "imp_pt", "288.00"),
    ],
)
def test_servings_in_a_keg(keg: str, portion: int, unit: str, servings: str) -> None:
    exact = keg_size_exact_ul(keg) / (portion * UNITS_UL[unit])
    assert round(exact * 100) == int(servings.replace(".", ""))


@pytest.mark.parametrize(
    ("litres", "ounces", "gallons", "pints"),
    [
        ("50 l", "1690.7011", "13.2086", "87.9877"),
        ("30 litres", "1014.4207", "7.9252", "52.7926"),
        ("20 L", "676.2805", "5.2834", "35.1951"),
    ],
)
def test_a_metric_keg_in_other_units(litres: str, ounces: str, gallons: str, pints: str) -> None:
    volume = keg_size_ul(litres)
    assert from_ul(volume, "us_fl_oz", 4) == Decimal(ounces)
    assert from_ul(volume, "us_gal", 4) == Decimal(gallons)
    assert from_ul(volume, "imp_pt", 4) == Decimal(pints)


def test_an_eleven_gallon_keg_is_not_a_50_litre_keg() -> None:
    assert keg_size_ul("11 imp gal") - keg_size_ul("50 l") == 6_990


@pytest.mark.parametrize(
    ("cask", "litres"),
    [
        ("pin", "20.457405"), ("firkin", "40.91481"), ("kilderkin", "81.82962"),
        ("uk_bbl", "163.65924"), ("hogshead", "245.48886"),
    ],
)  # fmt: skip
def test_a_cask_is_a_multiple_of_the_imperial_gallon(cask: str, litres: str) -> None:
    assert keg_size_exact_ul(cask) == Fraction(litres) * 1_000_000


@pytest.mark.parametrize(
    ("share", "millilitres"),
    [
        ("1/3", "189.420417"), ("1/2", "284.130625"), ("2/3", "378.840833"), ("1", "568.261250"),
        ("3/2", "852.391875"), ("2", "1136.522500"),
    ],
)  # fmt: skip
def test_a_measure_is_a_fraction_of_a_pint(share: str, millilitres: str) -> None:
    exact = Fraction(share) * UNITS_UL["imp_pt"]
    assert abs(exact / 1000 - Fraction(millilitres)) <= Fraction(1, 2_000_000)
    assert to_ul(Fraction(share), "imp_pt") == round(exact)


def test_three_thirds_are_one_pint() -> None:
    third = keg_size_exact_ul("1/3 imp pt")
    assert 3 * third == UNITS_UL["imp_pt"]
    assert 3 * to_ul(Fraction(1, 3), "imp_pt") != to_ul(1, "imp_pt")  # why a total converts once


def test_an_imperial_pint_is_not_16_us_ounces() -> None:
    assert to_ul(1, "imp_pt") - to_ul(16, "us_fl_oz") == 95_085
    assert UNITS_UL["us_fl_oz"] / UNITS_UL["imp_fl_oz"] == pytest.approx(1.040843, abs=5e-7)
    assert UNITS_UL["us_pt"] / UNITS_UL["imp_pt"] == pytest.approx(0.832674, abs=5e-7)


@pytest.mark.parametrize(
    ("volume_ul", "places", "shown"),
    [(500, 0, "0"), (1500, 0, "2"), (2500, 0, "2"), (-500, 0, "0"), (-1500, 0, "-2"), (2501, 0, "3")],
)
def test_half_is_rounded_to_even(volume_ul: int, places: int, shown: str) -> None:
    assert from_ul(volume_ul, "ml", places) == Decimal(shown)
    assert quantized(Decimal(volume_ul) / 1000, places) == Decimal(shown)


@pytest.mark.parametrize(
    ("pulses", "per_litre", "volume_ul"),
    [(1, "5600", 179), (5600, "5600", 1_000_000), (1000, "999.000999", 1_001_000), (0, "450", 0),
     (1, "2000000", 0), (3, "2000000", 2), (-3, "2000000", -2)],
)
def test_pulses_are_a_volume_by_division_by_the_factor(
    pulses: int, per_litre: str, volume_ul: int
) -> None:
    assert pulses_to_ul(pulses, Decimal(per_litre)) == volume_ul


def test_pulses_convert_as_one_total() -> None:
    assert 5600 * pulses_to_ul(1, Decimal(5600)) == 1_002_400  # a rounding each: 0.24 % too much
    assert pulses_to_ul(5600, Decimal(5600)) == 1_000_000


@pytest.mark.parametrize(
    "text", ["", "  ", "keg", "half", "-1 l", "1,5 l", "50", "50 kg", "1/0 l", "0 l", "0/2 us_bbl", "٥ l"]
)
def test_what_is_no_keg_size_is_refused_by_name(text: str) -> None:
    with pytest.raises(UnrungError, match="is not a keg size") as caught:
        keg_size_ul(text)
    assert repr(text) in str(caught.value)


@given(st.integers(-(10**12), 10**12), st.sampled_from(sorted(UNITS_UL)))
def test_what_is_shown_is_within_half_a_digit_of_the_truth(volume_ul: int, unit: str) -> None:
    error = abs(Fraction(leaf(volume_ul, unit)) - volume_ul / UNITS_UL[unit])
    assert error <= Fraction(1, 2000)


@given(st.decimals(-(10**6), 10**6, places=3), st.sampled_from(sorted(set(UNITS_UL) - {"ul"})))
def test_a_printed_volume_reads_back_as_itself(amount: Decimal, unit: str) -> None:
    assert leaf(to_ul(amount, unit), unit) == amount
