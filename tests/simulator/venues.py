"""Invented venues: outlets, lines with their faucets and meters, products, menu."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.rates import OZ
from unrung.units import keg_size_ul

SIZE_OZ = {"5 oz": 5, "10 oz": 10, "16 oz": 16, "20 oz": 20, "Pitcher": 60}
ZONE = "America/New_York"
HALF = "Half and half"
FLIGHT = "Flight of four"


@dataclass(frozen=True, slots=True)
class Beer:
    """A product: the sizes it is sold in, its kegs, its price of an ounce in minor units."""

    name: str
    sizes: tuple[str, ...]
    keg: str
    keg_cost_minor: int
    oz_minor: float
    weight: float
    settles: bool = False
    """Poured in two goes, as a stout is."""

    @property
    def keg_ul(self) -> int:
        return keg_size_ul(self.keg)


@dataclass(frozen=True, slots=True)
class Line:
    """A beer line: one meter and the faucets behind it."""

    meter: str
    outlet: str
    faucets: tuple[str, ...]
    product: str
    becomes: str = ""
    """The product it carries from half of the month on, where it changes."""

    @property
    def feed_name(self) -> str:
        """What the meter system calls it: its faucet, or the meter where several share it."""
        return self.faucets[0] if len(self.faucets) == 1 else self.meter


@dataclass(frozen=True, slots=True)
class Item:
    """A menu item of one outlet: its portions as (product, µL)."""

    item: str
    size: str
    portions: tuple[tuple[str, int], ...]
    price_minor: int


@dataclass(frozen=True, slots=True)
class VenuePlan:
    """A venue before anything happens in it. ``drinks`` is an outlet's drinks on the mean day."""

    name: str
    lines: tuple[Line, ...]
    drinks: dict[str, float]
    pools: dict[str, tuple[str, ...]] = field(default_factory=dict)
    counter: float | None = None
    """Share of rounds ordered at the counter; None: the rate of the trade."""
    shift_h: float = 0.0
    """Hours that trade is later than usual."""
    flat_week: bool = False
    burst_hours: tuple[float, ...] = ()
    """Weights of the hours in place of the usual ones."""


_MOST = ("10 oz", "16 oz", "20 oz", "Pitcher")
_STRONG = ("5 oz", "10 oz")
BEERS = {
    beer.name: beer
    for beer in (
        Beer("Ostrel Lager", ("10 oz", "16 oz", "20 oz", "Pitcher"), "1/2 us_bbl", 14_500, 38, 0.30),
        Beer("Pindle Pale Ale", ("5 oz", *_MOST), "1/2 us_bbl", 17_800, 44, 0.22),
        Beer("Gorrum Stout", ("5 oz", "10 oz", "16 oz", "20 oz"), "50 l", 18_900, 47, 0.11, True),
        Beer("Varnick Wheat", _MOST, "50 l", 16_400, 43, 0.10),
        Beer("Quillet Red", ("10 oz", "16 oz"), "1/4 us_bbl", 10_900, 46, 0.07),
        Beer("Sedgel Amber", ("5 oz", "10 oz", "16 oz"), "1/4 us_bbl", 10_400, 45, 0.07),
        Beer("Tamsel Sour", ("5 oz", "10 oz"), "1/6 us_bbl", 9_900, 62, 0.05),
        Beer("Ferrowick Porter", ("5 oz", "10 oz", "16 oz"), "1/6 us_bbl", 9_200, 49, 0.06),
        Beer("Lummet Saison", ("5 oz", "10 oz", "16 oz"), "1/6 us_bbl", 9_600, 52, 0.06),
        Beer("Brindlow Bitter", ("10 oz", "16 oz", "20 oz"), "1/4 us_bbl", 10_100, 44, 0.08),
    )
}

_STANDARD = (
    Line("M01", "Taproom", ("T01",), "Ostrel Lager"),
    Line("M02", "Taproom", ("T02",), "Pindle Pale Ale"),
    Line("M03", "Taproom", ("T03",), "Gorrum Stout"),
    Line("M04", "Taproom", ("T04",), "Varnick Wheat"),
    Line("M05", "Taproom", ("T05",), "Lummet Saison", becomes="Quillet Red"),
    Line("M06", "Terrace", ("T06", "T07"), "Ostrel Lager"),
    Line("M08", "Terrace", ("T08",), "Pindle Pale Ale"),
    Line("M09", "Terrace", ("T09",), "Sedgel Amber"),
    Line("M10", "Boathouse", ("T10",), "Ostrel Lager"),
    Line("M11", "Boathouse", ("T11",), "Ferrowick Porter"),
    Line("M12", "Boathouse", ("T12",), "Tamsel Sour"),
)
_SMALL = (
    Line("M01", "Bar", ("T01",), "Ostrel Lager"),
    Line("M02", "Bar", ("T02",), "Pindle Pale Ale"),
    Line("M03", "Bar", ("T03",), "Gorrum Stout"),
    Line("M04", "Bar", ("T04",), "Sedgel Amber"),
)
VENUES = {
    "standard": VenuePlan(
        "The Winding Stair", _STANDARD, {"Taproom": 255, "Terrace": 165, "Boathouse": 115},
        {"Main floor": ("Taproom", "Terrace")},
    ),
    "small": VenuePlan("The Corner Lamp", _SMALL, {"Bar": 130}),
    "dining": VenuePlan(
        "The Long Table", _STANDARD, {"Taproom": 190, "Terrace": 150, "Boathouse": 90},
        {"Main floor": ("Taproom", "Terrace")}, counter=0.15,
    ),
    "rush": VenuePlan(
        "The Stand", _SMALL, {"Bar": 620}, counter=1.0, flat_week=True,
        burst_hours=(0, 0, 0, 0, 0, 0, 0.4, 1.0, 3.0, 3.0, 2.0, 0.6, 0.2),
    ),
    "late": VenuePlan("The Small Hours", _SMALL, {"Bar": 230}, shift_h=6.0),
}


def products_of(line: Line, day: int, days: int) -> str:
    """What the tap list says the line carries on a day (0-based) of the month."""
    return line.becomes if line.becomes and day >= change_day(days) else line.product


def change_day(days: int) -> int:
    """The day on which a line that changes its product does so."""
    return days // 2


def single_items(product: str) -> list[Item]:
    """The menu items of one product, smallest first."""
    beer = BEERS[product]
    return [
        Item(product, size, ((product, round(SIZE_OZ[size] * OZ)),), _price(beer.oz_minor, SIZE_OZ[size]))
        for size in sorted(beer.sizes, key=lambda size: SIZE_OZ[size])
    ]


def mixed_items(outlet: str, products: list[str]) -> list[Item]:
    """The half and half and the flight of an outlet, of its own products."""
    items = []
    if len(products) >= 2:
        halves = tuple((p, round(8 * OZ)) for p in sorted(products)[:2])
        items.append(Item(f"{HALF} {outlet}", "", halves, 850))
    if len(products) >= 4:
        tasters = tuple((p, round(5 * OZ)) for p in sorted(products)[:4])
        items.append(Item(f"{FLIGHT} {outlet}", "", tasters, 1400))
    return items


def _price(oz_minor: float, ounces: int) -> int:
    per_oz = oz_minor * (0.85 if ounces >= 60 else 1.0)
    return round(per_oz * ounces / 25) * 25
