from __future__ import annotations

from fractions import Fraction

import pytest

from alerts.days import at, oz, venue_settings
from unrung.alerts.wording import (
    CHECK_ORDER,
    clock,
    shown_name,
    shown_range,
    shown_share,
    shown_volume,
)
from unrung.settings import Settings


def venue(**parts: str) -> Settings:
    return venue_settings(venue=parts)


@pytest.mark.parametrize(
    ("locale", "unit", "shown"),
    [
        ("en_US", "us_fl_oz", "1,234 fl oz"),
        ("en-US", "us_fl_oz", "1,234 fl oz"),
        ("en_GB", "imp_fl_oz", "1,284 imp fl oz"),
        ("en_GB", "imp_pt", "64.2 pt"),
        ("en_US", "us_gal", "9.64 gal"),
        ("de_DE", "ml", "36.494 mL"),
        ("de_DE", "l", "36,5 L"),
        ("fr_FR", "ml", "36\u202f494 mL"),
        ("zz_ZZ", "us_fl_oz", "1,234 fl oz"),
    ],
)
def test_volumes_follow_the_venues_unit_and_locale(locale: str, unit: str, shown: str) -> None:
    """Separators as in CLDR, the Unicode Common Locale Data Repository."""
    found = shown_volume(oz(1234), venue(locale=locale, volume_unit=unit))
    assert found.replace("\u00a0", " ") == shown


@pytest.mark.parametrize(
    ("locale", "share", "shown"),
    [
        ("en_US", Fraction(3, 100), "3.0%"),
        ("en_US", Fraction(52, 1000), "5.2%"),
        ("de_DE", Fraction(52, 1000), "5,2\u00a0%"),
        ("tr_TR", Fraction(52, 1000), "%5,2"),
        ("en_US", Fraction(12_345, 1000), "1,234.5%"),
    ],
)
def test_shares_keep_one_decimal(locale: str, share: Fraction, shown: str) -> None:
    assert shown_share(share, venue(locale=locale)) == shown


def test_times_are_the_venues_wall_clock() -> None:
    assert clock(at(21), venue(locale="en_GB")) == "21:00"


def test_a_range_names_its_unit_once() -> None:
    assert shown_range(oz(50), oz(1100), venue()).replace("\u00a0", " ") == (
        "between 50 and 1,100 fl oz"
    )


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Stout", "Stout"),
        ("Stout\r\nBcc: x@example.org", "Stout Bcc: x@example.org"),
        (" a\t\x00b\x1b\x85c\u2028d ", "a b c d"),
        ("\u202egnp.exe", "gnp.exe"),
        ("x" * 80, "x" * 59 + "…"),
        ("Bière Märzen 麦酒", "Bière Märzen 麦酒"),
    ],
)
def test_names_come_on_one_clean_line(name: str, shown: str) -> None:
    assert shown_name(name) == shown


def test_advice_goes_from_equipment_to_people_last() -> None:
    order = [CHECK_ORDER.index(w) for w in ("equipment", "settings", "things are done", "talk")]
    assert order == sorted(order)
