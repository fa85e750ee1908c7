"""Setup, check and catch-up on three dialects more: the right figures, and no file edited."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest

from unrung.config_folder import load

from .helping import Rows, ledger_of, set_up
from .more_dialects import write_australian, write_french, write_texan
from .quiet_bar import Beer, QuietBar, quiet_bar

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
    bar = quiet_bar(21, beers, "Europe/Paris", date(2026, 10, 22), 5)
    return Case(write_french, bar, "ventes", "debits", ("l", "EUR"))


def australian() -> Case:
    beers = [
        Beer("Front", "Billabong Lager", "1", {"Schooner": (425_000, 850), "Pint": (570_000, 1150)}),
        Beer("Front", "Wattlebird Pale", "2", {"Schooner": (425_000, 900), "Pint": (570_000, 1200)}),
        Beer("Front", "Magpie Porter", "3", {"Schooner": (425_000, 950), "Pot": (285_000, 650)}),
        Beer("Beer Garden", "Billabong Lager", "7", {"Schooner": (425_000, 850), "Jug": (1_140_000, 2200)}),
    ]
    bar = quiet_bar(22, beers, "Australia/Sydney", date(2026, 10, 1), 6)
    return Case(write_australian, bar, "sales", "flow", ("l", "AUD"))


def texan() -> Case:
    beers = [
        Beer("", "Cedar Brake Amber", "1", {"16 oz": (ounces(16), 700), "10 oz": (ounces(10), 500)}),
        Beer("", "Longhorn Creek Lager", "2", {"16 oz": (ounces(16), 650), "32 oz": (ounces(32), 1200)}),
        Beer("", "Nightjar Stout", "3", {"12 oz": (ounces(12), 750)}),
        Beer("", "Mesquite Cider", "4", {"16 oz": (ounces(16), 800), "10 oz": (ounces(10), 550)}),
    ]
    bar = quiet_bar(23, beers, "America/Chicago", date(2026, 10, 29), 6)
    return Case(write_texan, bar, "till", "meters", ("us_fl_oz", "USD"), tolerance_ul=200)


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


@pytest.mark.parametrize("made", [french, australian, texan], ids=lambda made: str(made.__name__))
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
