"""Setup, check and catch-up on ten dialects more: the right figures, and no file edited."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest

from unrung.config_folder import load

from .far_dialects import write_czech, write_mexican, write_spreadsheet
from .helping import Rows, ledger_of, set_up
from .more_dialects import write_australian, write_french, write_texan
from .quiet_bar import Beer, QuietBar, quiet_bar
from .yet_other_dialects import write_dutch, write_italian, write_oregon, write_spanish

OZ = 29_573.5295625


def ounces(number: int) -> int:
    return round(number * OZ)


class Case(NamedTuple):
    """A bar, how it writes, and where setup looks."""

    write: Callable[[QuietBar, Path], None]
    bar: QuietBar
    rings: str
    pours: str
    units: tuple[str, str]
    """Of the venue's volumes and money."""
    tolerance_ul: int = 0
    """For each glass, where a meter's decimals are no whole microlitres."""


def french() -> Case:
    beers = [
        Beer("Salle", "Blonde du Héron", "1", {"25 cl": (250_000, 380), "50 cl": (500_000, 720)}),
        Beer("Salle", "Ambrée de l'Écluse", "2", {"25 cl": (250_000, 420), "50 cl": (500_000, 790)}),
        Beer("Terrasse", "Blonde du Héron", "11", {"25 cl": (250_000, 380), "50 cl": (500_000, 720)}),
        Beer("Terrasse", "Blanche des Roseaux", "12", {"33 cl": (330_000, 510)}),
    ]
    bar = quiet_bar(21, beers, "Europe/Paris", date(2026, 10, 22), 4)
    return Case(write_french, bar, "ventes", "debits", ("l", "EUR"))


def australian() -> Case:
    beers = [
        Beer("Front", "Billabong Lager", "1", {"Schooner": (425_000, 850), "Pint": (570_000, 1150)}),
        Beer("Front", "Wattlebird Pale", "2", {"Schooner": (425_000, 900), "Pint": (570_000, 1200)}),
        Beer("Front", "Magpie Porter", "3", {"Schooner": (425_000, 950), "Pot": (285_000, 650)}),
        Beer("Beer Garden", "Billabong Lager", "7", {"Schooner": (425_000, 850), "Jug": (1_140_000, 2200)}),
    ]
    bar = quiet_bar(22, beers, "Australia/Sydney", date(2026, 10, 1), 4)
    return Case(write_australian, bar, "sales", "flow", ("l", "AUD"))


def texan() -> Case:
    beers = [
        Beer("", "Cedar Brake Amber", "1", {"16 oz": (ounces(16), 700), "10 oz": (ounces(10), 500)}),
        Beer("", "Longhorn Creek Lager", "2", {"16 oz": (ounces(16), 650), "32 oz": (ounces(32), 1200)}),
        Beer("", "Nightjar Stout", "3", {"12 oz": (ounces(12), 750)}),
        Beer("", "Mesquite Cider", "4", {"16 oz": (ounces(16), 800), "10 oz": (ounces(10), 550)}),
    ]
    bar = quiet_bar(23, beers, "America/Chicago", date(2026, 10, 29), 4)
    return Case(write_texan, bar, "till", "meters", ("us_fl_oz", "USD"), tolerance_ul=200)


def dutch() -> Case:
    beers = [
        Beer("", "Reigerbier", "1", {"Vaasje": (250_000, 340), "Fluitje": (200_000, 290)}),
        Beer("", "Sluiswachter Tripel", "2", {"Bokaal": (300_000, 560), "Kelk": (200_000, 420)}),
        Beer("", "Waterlelie Wit", "3", {"Vaasje": (250_000, 390), "Pul": (500_000, 750)}),
    ]
    bar = quiet_bar(24, beers, "Europe/Amsterdam", date(2026, 10, 22), 4)
    return Case(write_dutch, bar, "kassa", "tap", ("l", "EUR"))


def spanish() -> Case:
    beers = [
        Beer("Barra", "Garza Rubia", "1", {"Caña": (200_000, 240), "Doble": (400_000, 430)}),
        Beer("Barra", "Molino Tostada", "2", {"Caña": (200_000, 260), "Jarra": (500_000, 520)}),
        Beer("Patio", "Garza Rubia", "5", {"Caña": (200_000, 260), "Doble": (400_000, 450)}),
    ]
    bar = quiet_bar(25, beers, "Europe/Madrid", date(2026, 10, 3), 4)
    return Case(write_spanish, bar, "caja", "grifos", ("l", "EUR"))


def oregon() -> Case:
    beers = [
        Beer("Taproom", "Drift Creek Pale", "1", {"Pint": (ounces(16), 700), "Half": (ounces(8), 400)}),
        Beer("Taproom", "Tidewater Porter", "2", {"Pint": (ounces(16), 725), "Pitcher": (ounces(60), 2400)}),
        Beer("Patio", "Drift Creek Pale", "3", {"Pint": (ounces(16), 700), "Half": (ounces(8), 400)}),
    ]
    bar = quiet_bar(26, beers, "America/Los_Angeles", date(2026, 10, 28), 4)
    return Case(write_oregon, bar, "pos", "flow", ("us_fl_oz", "USD"), tolerance_ul=200)


def italian() -> Case:
    beers = [
        Beer("Interno", "Airone Bionda", "1", {"0,2": (200_000, 350), "0,4": (400_000, 600)}),
        Beer("Interno", "Chiusa Rossa", "2", {"0,2": (200_000, 380), "0,4": (400_000, 650)}),
        Beer("Giardino", "Canna Bianca", "3", {"0,3": (300_000, 500), "0,5": (500_000, 750)}),
    ]
    bar = quiet_bar(27, beers, "Europe/Rome", date(2026, 10, 21), 4)
    return Case(write_italian, bar, "cassa", "spine", ("l", "EUR"))


def czech() -> Case:
    beers = [
        Beer("Bar", "Volavka 11°", "Kohout 1", {"0,5 l": (500_000, 5900), "0,3 l": (300_000, 4200)}),
        Beer("Bar", "Černý Splav", "Kohout 2", {"0,5 l": (500_000, 6200)}),
        Beer("Zahrádka", "Řeřicha IPA", "Kohout 3", {"0,4 l": (400_000, 7900), "0,3 l": (300_000, 6400)}),
    ]
    bar = quiet_bar(31, beers, "Europe/Prague", date(2026, 10, 22), 5)
    return Case(write_czech, bar, "till", "meters", ("l", "CZK"))


def mexican() -> Case:
    beers = [
        Beer("Barra", "Garza Rubia", "1", {"Tarro": (500_000, 7500), "Caña": (250_000, 4500)}),
        Beer("Barra", "Molino Tostada", "2", {"Tarro": (500_000, 8500), "Yarda": (1_000_000, 15500)}),
        Beer("Terraza", "Junco Clara", "3", {"Tarro": (500_000, 7000)}),
    ]
    bar = quiet_bar(33, beers, "America/Mexico_City", date(2026, 10, 29), 5)
    return Case(write_mexican, bar, "till", "meters", ("l", "MXN"))


def spreadsheet() -> Case:
    return texan()._replace(write=write_spreadsheet, rings="till", pours="meters")


def differences(found: Rows, true: Rows, tolerance_ul: int) -> list[tuple[object, ...]]:
    """Figures further from the truth than a glass's rounding times the day's glasses allows."""
    wrong = []
    for key in sorted({*found, *true}, key=str):
        mine, theirs = found.get(key, Counter[str]()), true.get(key, Counter[str]())
        wrong += [
            (*key, name, mine[name], theirs[name]) for name in sorted({*mine, *theirs})
            if abs(mine[name] - theirs[name]) > 60 * tolerance_ul
        ]
    return wrong


DIALECTS = [
    french, australian, texan, dutch, spanish, oregon, italian, czech, mexican, spreadsheet,
]


@pytest.mark.parametrize("made", DIALECTS, ids=lambda made: str(made.__name__))
def test_a_dialect_nobody_has_seen_gives_the_right_ledger(made: Callable[[], Case], tmp_path: Path) -> None:
    case = made()
    case.write(case.bar, tmp_path / "in")
    said = set_up(tmp_path / "bar", machine=case.bar.zone, rings=tmp_path / "in" / case.rings,
                  pours=tmp_path / "in" / case.pours)
    found = ledger_of(tmp_path / "bar", case.bar.days)
    if not case.bar.sales[0].beer.outlet:  # a bar of one room gets a name for it
        found = {(day, "", product): row for (day, _, product), row in found.items()}
    assert differences(found, case.bar.truth(), case.tolerance_ul) == [], "\n".join(said)
    venue = load(tmp_path / "bar").venue
    assert (venue.volume_unit, venue.currency) == case.units
