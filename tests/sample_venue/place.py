"""The venue: its bars, taps, beers, menu and prices. All of it is invented.

Volumes are whole microlitres, money whole cents. The fluid ounce is worked out here from the US
gallon of 231 cubic inches (NIST Handbook 44, Appendix C) and the inch of 2.54 cm, apart from the
program under test.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

SITE = "The Sluice House on the Ambrel"
LONG, GARDEN = "Long Bar", "Garden Bar"

OUNCE = Fraction(231 * 254**3, 128 * 1000)
"""Microlitres in a US fluid ounce, exactly."""


def oz(amount: float | Fraction | int) -> int:
    """Ounces in whole microlitres, half to even.

    >>> oz(16), oz(5)
    (473176, 147868)
    """
    return round(Fraction(amount) * OUNCE)


BITTER, GOLD, PALE = "Sluice Gate Bitter", "Ambrel Gold", "Stepping Stone Pale"
STOUT, RYE, MILD = "Mudlark Stout", "Heronwade Rye", "Weirman Mild"
WHEAT, CIDER = "Ferrywife Wheat", "Withy Basket Cider"


class Product(NamedTuple):
    """``keg`` is the size as ``products.csv`` writes it, ``cents`` the cost of one."""

    name: str
    keg: str
    keg_ul: int
    cents: int


_HALF, _QUARTER = round(1984 * OUNCE), round(992 * OUNCE)
PRODUCTS = (
    Product(BITTER, "1/2 us_bbl", _HALF, 18600),
    Product(GOLD, "1/2 us_bbl", _HALF, 14900),
    Product(PALE, "1/2 us_bbl", _HALF, 19800),
    Product(STOUT, "1/4 us_bbl", _QUARTER, 12400),
    Product(RYE, "1/4 us_bbl", _QUARTER, 12900),
    Product(MILD, "1/4 us_bbl", _QUARTER, 10800),
    Product(WHEAT, "1/2 us_bbl", _HALF, 17400),
    Product(CIDER, "1/4 us_bbl", _QUARTER, 11700),
)
KEG_UL = {p.name: p.keg_ul for p in PRODUCTS}


class Tap(NamedTuple):
    name: str
    outlet: str
    product: str
    metered: bool
    line_oz: int
    left_oz: int
    """Beer in its keg on the first morning."""


TAPS = (
    Tap("L1", LONG, BITTER, True, 20, 1790),
    Tap("L2", LONG, GOLD, True, 20, 1840),
    Tap("L3", LONG, PALE, True, 22, 1960),
    Tap("L4", LONG, STOUT, True, 22, 220),
    Tap("L5", LONG, RYE, True, 24, 440),
    Tap("L6", LONG, MILD, True, 24, 410),
    Tap("G1", GARDEN, GOLD, True, 12, 1520),
    Tap("G2", GARDEN, WHEAT, True, 12, 1550),
    Tap("G3", GARDEN, CIDER, True, 14, 920),
    Tap("G4", GARDEN, PALE, True, 14, 1400),
    Tap("G5", GARDEN, GOLD, False, 0, 0),
)
UNKNOWN_TAP = "G7"
"""In the meter's export, in nobody's tap list."""


def tap_of(outlet: str, product: str) -> Tap:
    return next(t for t in TAPS if (t.outlet, t.product) == (outlet, product) and t.metered)


PINT, SMALL, PITCHER = "Pint", "Small", "Pitcher"


class Item(NamedTuple):
    """A menu item: what one unit holds, as (product, ounces) in the order of ``menu.csv``."""

    name: str
    size: str
    portions: tuple[tuple[str, int], ...]
    cents: int


def _menu() -> tuple[Item, ...]:
    prices = {BITTER: 700, GOLD: 625, PALE: 750, STOUT: 775, RYE: 750, WHEAT: 700, CIDER: 725}
    pitchers = {BITTER: 2400, GOLD: 2150, PALE: 2600}
    rows = []
    for product, cents in prices.items():
        rows.append(Item(product, PINT, ((product, 16),), cents))
        rows.append(Item(product, SMALL, ((product, 10),), cents - 200))
        if product in pitchers:
            rows.append(Item(product, PITCHER, ((product, 60),), pitchers[product]))
    return (
        *rows,
        Item(MILD, "", ((MILD, 16),), 675),
        Item("Tasting Flight", "", ((BITTER, 5), (GOLD, 5), (PALE, 5), (STOUT, 5)), 1150),
        Item("Half-and-Half", "", ((STOUT, 8), (BITTER, 8)), 775),
        Item("Ambrel Gold T-Shirt", "", (), 2400),
    )


MENU = _menu()
BY_NAME = {(m.name, m.size): m for m in MENU}
FLIGHT, HALVES, SHIRT = (
    BY_NAME["Tasting Flight", ""], BY_NAME["Half-and-Half", ""], BY_NAME["Ambrel Gold T-Shirt", ""],
)
SNIFTER = Item("Sluice Gate Bitter Snifter", "", (), 600)
"""Sold, poured (8 ounces of bitter), and missing from ``menu.csv``."""
SNIFTER_OZ = 8


def item(product: str, size: str = PINT) -> Item:
    return BY_NAME[product, "" if product == MILD else size]


def sizes_oz(product: str) -> tuple[int, ...]:
    """Every portion of ``product`` on the menu, small to large.

    >>> sizes_oz(STOUT)
    (5, 8, 10, 16)
    """
    return tuple(sorted({o for m in MENU for name, o in m.portions if name == product}))


FOOD = (
    ("Smash Burger", 1450), ("Skillet Fries", 650), ("Chopped Salad", 1100),
    ("Fish Basket", 1650), ("Soft Pretzel", 800), ("Bottled Water", 300),
    ("Ginger Fizz, bottle", 450), ("Brownie", 700), ("Coffee", 350),
)
