"""Numbers as people write them: strict, exact, and held against CLDR and Decimal."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from unrung.mapping import Formats
from unrung.units import UNITS_UL, to_ul
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.numerals import SourceNumber, number_reader
from unrung_adapters.quantities import (
    count,
    duration_ms,
    grams,
    half_even,
    money_minor,
    units_micro,
    volume_ul,
)  # fmt: skip

# Marks as each locale writes them (Unicode CLDR, through Babel).
LOCALES = {
    "en_US": {"decimal": ".", "thousands": ","},
    "de_DE": {"decimal": ",", "thousands": "."},
    "fr_FR": {"decimal": ",", "thousands": " "},  # U+202F between the groups
    "sv_SE": {"decimal": ",", "thousands": " "},  # U+00A0, and U+2212 for minus
    "de_CH": {"decimal": ".", "thousands": "'"},  # U+2019
}


def value(text: str, **formats: Any) -> Fraction:
    mantissa, places = number_reader(Formats(**formats))(text)
    return Fraction(mantissa, 10**places)


@pytest.mark.parametrize("locale", LOCALES)
@given(number=st.decimals(-(10**9), 10**9, places=3))
def test_a_number_written_by_cldr_rules_is_read_back_exactly(locale: str, number: Decimal) -> None:
    text = format_decimal(number, "#,##0.###", locale=locale)
    assert value(text, **LOCALES[locale]) == Fraction(number)


@given(st.decimals(-(10**12), 10**12, places=4))
def test_a_plain_number_is_read_as_decimal_reads_it(number: Decimal) -> None:
    assert value(f"{number:f}") == Fraction(number)


@pytest.mark.parametrize(
    ("text", "formats"),
    [
        ("1,5", {}), ("1.5", {"decimal": ","}), ("1.234", {"decimal": ","}),
        ("1,23", {"thousands": ","}), ("12,34,567", {"thousands": ","}), ("1234,567", {"thousands": ","}),
        (",123", {"thousands": ","}), ("1.234,5", {"thousands": ","}),
        ("1_000", {}), ("1e3", {}), ("0x10", {}), ("NaN", {}), ("inf", {}), ("½", {}), ("٣", {}),
        ("(1.50)", {}), ("1.50-", {}), ("--1", {}), ("+-1", {}), ("5.", {}), (".", {}), ("-", {}),
        ("", {}), ("  ", {}), ("1 000", {}), ("12 oz", {}), ("1" * 41, {}), ("22 mai", {}),
    ],
)  # fmt: skip
def test_anything_else_is_refused_and_not_guessed(text: str, formats: dict[str, str]) -> None:
    with pytest.raises(Unreadable):
        value(text, **formats)


@pytest.mark.parametrize(
    ("text", "formats", "expected"),
    [
        (".5", {}, "0.5"), ("+3", {}, "3"), ("−2", {}, "-2"), (" 7 ", {}, "7"), ("007", {}, "7"),
        ("1 234,5", {"decimal": ",", "thousands": " "}, "1234.5"),
        ("1\u00a0234,5", {"decimal": ",", "thousands": " "}, "1234.5"),
        ("1\u202f234,5", {"decimal": ",", "thousands": " "}, "1234.5"),
        ("1234567.5", {"thousands": ","}, "1234567.5"),
    ],
)  # fmt: skip
def test_usual_ways_to_write_a_number_are_understood(
    text: str, formats: dict[str, str], expected: str
) -> None:
    assert value(text, **formats) == Fraction(expected)


def test_a_json_number_has_a_point_whatever_the_feed_says() -> None:
    assert value(SourceNumber("4.500"), decimal=",", thousands=".") == Fraction("4.5")
    assert value("4.500", decimal=",", thousands=".") == 4500


def test_equal_texts_of_both_kinds_are_not_mixed_up_once_seen() -> None:
    read = volume_ul("volume", Formats(decimal=",", thousands=".", volume_unit="ml"))
    assert [read("4.500"), read(SourceNumber("4.500")), read("4.500")] == [4_500_000, 4_500, 4_500_000]


@pytest.mark.parametrize("text", ["1e21", "1e-21", "1e999999999", "0." + "1" * 40])
def test_a_json_number_out_of_all_proportion_costs_nothing(text: str) -> None:
    with pytest.raises(Unreadable):
        value(SourceNumber(text))


@given(st.fractions(), st.integers(1, 10**9))
def test_rounding_is_half_to_even_as_fraction_rounds(number: Fraction, denominator: int) -> None:
    scaled = number.numerator
    assert half_even(scaled, denominator) == round(Fraction(scaled, denominator))


@pytest.mark.parametrize("unit", sorted(set(UNITS_UL) - {"ul"}))
@given(number=st.decimals(0, 10**5, places=4))
def test_a_volume_is_converted_as_exact_fractions_are(unit: str, number: Decimal) -> None:
    assert volume_ul("volume", Formats(volume_unit=unit))(f"{number:f}") == to_ul(number, unit)


@pytest.mark.parametrize(
    ("text", "digits", "minor"),
    [
        ("6.50", 2, 650), ("6.5", 2, 650), ("6", 2, 600), ("6.500", 2, 650), ("-6.50", 2, -650),
        ("(6.50)", 2, -650), ("6.50-", 2, -650), ("$6.50", 2, 650), ("-$6.50", 2, -650),
        ("$-6.50", 2, -650), ("($6.50)", 2, -650), ("$(6.50)", 2, -650), ("6.50 €", 2, 650),
        ("6.50- €", 2, -650), ("1,234.50", 2, 123450), ("650", 0, 650), ("6.125", 3, 6125),
    ],
)  # fmt: skip
def test_money_is_read_to_the_minor_unit(text: str, digits: int, minor: int) -> None:
    formats = Formats(currency_marks=("$", "€"), thousands=",")
    assert money_minor("amount", formats, digits)(text) == minor


@pytest.mark.parametrize(
    ("text", "digits"),
    [("6.505", 2), ("6.5", 0), ("£6.50", 2), ("(-6.50)", 2), ("-6.50-", 2), ("()", 2), ("$", 2),
     ("$$6", 2), ("six", 2), ("", 2), ("9" * 30, 2)],
)  # fmt: skip
def test_money_that_means_two_things_or_none_is_refused(text: str, digits: int) -> None:
    with pytest.raises(BadValue) as caught:
        money_minor("amount", Formats(currency_marks=("$",)), digits)(text)
    assert (caught.value.field, caught.value.value) == ("amount", text)
    assert caught.value.reason and caught.value.fix


def test_quantities_keep_six_decimals_and_round_the_rest_half_to_even() -> None:
    read = units_micro("units", Formats(), negative=True)
    texts = ["1", "0.333333", "0.3333333333", "-1", "0.0000005", "0.0000015"]
    assert [read(text) for text in texts] == [1_000_000, 333_333, 333_333, -1_000_000, 0, 2]


@pytest.mark.parametrize(
    ("reader", "text", "expected"),
    [
        (count("pulses", Formats()), "5600", 5600), (count("pulses", Formats()), "12.0", 12),
        (grams("gross_kg", Formats()), "14.2005", 14200), (grams("gross_kg", Formats()), "0", 0),
        (duration_ms("duration", Formats()), "7.25", 7250),
        (duration_ms("duration", Formats(duration_unit="min")), "0.5", 30_000),
        (duration_ms("duration", Formats(duration_unit="ms")), "0.5", 0),
    ],
)  # fmt: skip
def test_counts_weights_and_durations_become_whole_numbers(
    reader: Any, text: str, expected: int
) -> None:
    assert reader(text) == expected


@pytest.mark.parametrize("text", ["-1", "1.5", "1e3", "-0.5"])
def test_pulses_are_whole_and_not_negative(text: str) -> None:
    with pytest.raises(BadValue):
        count("pulses", Formats())(text)
