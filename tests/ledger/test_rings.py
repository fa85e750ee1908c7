"""Till lines to units: split checks, several portions, money, and what is no draught beer."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

import pytest

from ledger.bar import DAY, HALF, PINT, TAPS, Bar, counted, menu, oz, told, total
from unrung.ledger.menu import Menu
from unrung.ledger.outlets import Outlets
from unrung.ledger.rings import DayRings, day_rings
from unrung.settings import Pool, Product


def read(bar: Bar) -> DayRings:
    given = bar.settings
    names = [product.product for product in given.products]
    return day_rings(bar.rings, Menu(given.menu, DAY), Outlets(given), given.venue, names)


def portions(bar: Bar) -> list[tuple[int, float]]:
    """(microlitres, menu units) of every unit, in order of time."""
    return [(unit.portion_ul, unit.units_micro / 1e6) for unit in read(bar).units]


@pytest.mark.parametrize(
    ("fractions", "expected"),
    [
        ((0.5, 0.5), [(PINT, 1)]),
        ((0.33, 0.33, 0.33), [(PINT, 0.99)]),
        ((0.34, 0.33, 0.33), [(PINT, 1)]),
        ((0.17,) * 6, [(PINT, 1.02)]),
        ((0.16,) * 6, [(PINT, 0.96)]),
        ((0.25, 0.5, 0.25), [(PINT, 1)]),
        ((0.33, 0.67), [(PINT, 1)]),
        # Two drinks at once, one shared by two and one by three.
        ((0.5, 0.33, 0.5, 0.33, 0.33), [(PINT, 1), (PINT, 0.99)]),
        ((0.5, 0.5, 0.5, 0.5), [(PINT, 1), (PINT, 1)]),
        ((0.6, 0.35, 0.25, 0.4), [(PINT, 1), (165_612, 0.35), (118_294, 0.25)]),
        ((0.3, 0.6, 0.3, 0.7), [(PINT, 1), (283_906, 0.6), (141_953, 0.3)]),
        # What never completes stays what it is.
        ((0.5,), [(HALF, 0.5)]),
        ((0.5, 0.25), [(HALF, 0.5), (118_294, 0.25)]),
        ((1.5,), [(PINT, 1), (HALF, 0.5)]),
        ((1.5, 0.5), [(PINT, 1), (PINT, 1)]),
        ((2.5, 1.5), [(PINT, 1), (PINT, 1), (PINT, 1), (PINT, 1)]),
        ((3,), [(PINT, 1), (PINT, 1), (PINT, 1)]),
        ((0.99,), [(PINT, 0.99)]),
    ],
)
def test_fractions_become_the_units_that_were_poured(
    fractions: tuple[float, ...], expected: list[tuple[int, float]]
) -> None:
    bar = Bar()
    for number, units in enumerate(fractions):
        bar.ring(f"20:00:{number:02d}", units=units, check=str(number), cents=100)
    assert sorted(portions(bar)) == sorted(expected)
    assert sum(unit.net_minor for unit in read(bar).units) == 100 * len(fractions)


@pytest.mark.parametrize(
    "other",
    [{"at": "20:05:01"}, {"size": "Half"}, {"item": "Stout"}, {"kind": "comp"}, {"outlet": "Garden"}],
)
def test_fractions_of_different_things_are_not_joined(other: dict[str, str]) -> None:
    bar = Bar()
    bar.ring("20:00:00", units=0.5)
    bar.ring(other.pop("at", "20:00:10"), units=0.5, **other)  # type: ignore[arg-type]
    assert [units for _, units in portions(bar)] == [0.5, 0.5]


def test_a_split_pint_pairs_with_its_one_pour() -> None:
    bar = Bar()
    bar.evening(24)
    bar.pour("19:01:00", 16)
    for check, cents in (("7", 234), ("8", 233), ("9", 233)):
        bar.ring("19:01:20", units=0.33 if check != "7" else 0.34, check=check, cents=cents)
    ledger = bar.ledger()
    assert told(total(ledger)) == {"matched_portion": 25 * PINT}
    assert counted(ledger)["units_rung_micro"] == 25_000_000
    assert counted(ledger)["net_sales_minor"] == 25 * 700


def test_a_unit_of_several_portions_counts_in_equal_shares() -> None:
    bar = Bar()
    bar.ring("20:00:00", "Black and Amber", "", units=2, cents=1501)
    units = [(unit.product, unit.portion_ul, unit.units_micro, unit.net_minor) for unit in read(bar).units]
    assert units == [
        ("Stout", HALF, 500_000, 376), ("Amber", HALF, 500_000, 375),
        ("Stout", HALF, 500_000, 375), ("Amber", HALF, 500_000, 375),
    ]


def test_a_third_of_a_flight_loses_no_millionth() -> None:
    flight = menu(("Flight", "Amber", 5), ("Flight", "Stout", 5), ("Flight", "Amber", 5))
    bar = Bar(menu=flight)
    bar.ring("20:00:00", "Flight", "", cents=1000)
    assert [(unit.units_micro, unit.net_minor) for unit in read(bar).units] == [
        (333_334, 334), (333_333, 333), (333_333, 333)]


@pytest.mark.parametrize("quantity", [12.4, 0.5, 1, 20])
def test_a_till_that_sells_by_volume_rings_one_unit_of_that_volume(quantity: float) -> None:
    bar = Bar(menu=menu(("Self serve", "Amber", 1), sold_by="volume", price_minor=55))
    bar.ring("20:00:00", "Self serve", "", units=quantity, cents=682)
    [unit] = read(bar).units
    assert (unit.units_micro, unit.net_minor) == (round(quantity * 1e6), 682)
    assert abs(unit.portion_ul - oz(quantity)) <= 10  # the menu's unit is kept in whole microlitres


def test_two_amounts_sold_by_volume_are_never_one_drink() -> None:
    bar = Bar(menu=menu(("Self serve", "Amber", 1), sold_by="volume"))
    for second in (0, 5):
        bar.ring(f"20:00:0{second}", "Self serve", "", units=0.5)
    assert [units for _, units in portions(bar)] == [0.5, 0.5]


def test_a_self_serve_wall_foots() -> None:
    bar = Bar(menu=menu(("Self serve", "Amber", 1), sold_by="volume"))
    bar.evening(24, item="Self serve", size="", units=12, ounces=12)
    bar.sale("22:00:00", 9.3, item="Self serve", size="", units=9.3)
    ledger = bar.ledger()
    assert abs(total(ledger).variance) <= 25 * 10
    assert total(ledger).poured == 24 * oz(12) + oz(9.3)
    assert ledger.till[0].units_rung == ledger.till[0].till_units == round((24 * 12 + 9.3) * 1e6)


def test_a_comp_rung_is_rung_volume_shown_apart() -> None:
    bar = Bar()
    bar.evening(24)
    bar.sale("22:00:00", kind="comp", cents=0)
    ledger = bar.ledger()
    assert told(total(ledger)) == {"matched_portion": 25 * PINT, "comp_volume": PINT}
    assert counted(ledger)["comp_units_micro"] == 1_000_000
    assert (ledger.till[0].comps, ledger.till[0].units_rung) == (1_000_000, 25_000_000)


def test_a_refund_changes_money_at_its_own_time_and_never_volume() -> None:
    bar = Bar()
    bar.evening(24)
    bar.ring("23:10:00", kind="refund", units=-1, cents=-700)
    bar.ring("23:20:00", "Black and Amber", "", kind="refund", units=1, cents=751)
    bar.ring("23:30:00", "Burger", "", kind="refund", cents=1200)
    ledger = bar.ledger()
    assert told(total(ledger)) == {"matched_portion": 24 * PINT}
    assert counted(ledger, "Amber")["net_sales_minor"] == 24 * 700 - 700 - 376
    assert counted(ledger, "Stout")["net_sales_minor"] == -375
    late = [leaf for leaf in ledger.leaves if leaf.counts.net_sales_minor < 0]
    assert {leaf.window_start_ms for leaf in late} == {ledger.leaves[-1].window_start_ms}
    assert ledger.till[0].till_units == 24_000_000


def test_the_one_outlet_there_is_needs_no_name() -> None:
    bar = Bar()
    bar.evening(24, outlet="")
    bar.ring("22:00:00", kind="refund", cents=-700, outlet="")
    bar.ring("22:01:00", "Burger", "", outlet="")
    bar.log("22:05:00", outlet="", ounces=3)
    ledger = bar.ledger()
    assert {leaf.outlet for leaf in ledger.leaves} == {"Bar"}
    assert [row.outlet for row in ledger.till] == ["Bar"]
    assert {row.outlet for row in ledger.logged} == {one.outlet for one in ledger.lone} == {"Bar"}


def test_training_is_left_out_and_counted() -> None:
    bar = Bar()
    bar.evening(24)
    bar.ring("16:00:00", kind="training", units=2)
    ledger = bar.ledger()
    assert told(total(ledger)) == {"matched_portion": 24 * PINT}
    assert (ledger.till[0].training, ledger.till[0].units_rung) == (2_000_000, 24_000_000)
    assert counted(ledger)["net_sales_minor"] == 24 * 700


def test_an_unlisted_item_is_told_from_one_that_is_no_draught_beer() -> None:
    bar = Bar(products=[Product(product="Towpath Amber")])
    bar.ring("20:00:00", "Burger", "", units=3)
    bar.ring("20:00:00", "Soup", "", units=2)
    bar.ring("20:00:00", "Towpath Snifter", "")
    bar.ring("20:01:00", "Towpath Snifter", "", kind="void")
    found = read(bar)
    assert found.units == []
    assert found.unlisted == Counter({("Soup", ""): 1, ("Towpath Snifter", "Towpath Amber"): 1})
    assert found.till["Bar"] == Counter(
        till_units=7_000_000, not_draught=5_000_000, unknown_item=1_000_000, voids=1_000_000)
    [notice] = [text for text in bar.ledger().notices if "menu.csv" in text]
    assert "'Towpath Snifter'" in notice and "looks like Towpath Amber" in notice


@pytest.mark.parametrize(
    ("prices", "tax", "rate", "net"),
    [("net", 58, "0.0825", 758), ("gross", 58, "0", 700), ("gross", None, "0.0825", 700),
     ("gross", None, "0", 758), ("gross", 0, "0.0825", 758)],
)
def test_money_is_without_tax(prices: str, tax: int | None, rate: str, net: int) -> None:
    """758 / 1.0825 = 700.23."""
    bar = Bar(prices=prices, tax_rate=Decimal(rate))
    bar.ring("20:00:00", cents=758, tax=tax)
    assert [unit.net_minor for unit in read(bar).units] == [net]


def test_a_line_without_an_amount_brings_none() -> None:
    bar = Bar()
    bar.ring("20:00:00", cents=None)
    assert [unit.net_minor for unit in read(bar).units] == [0]


def test_two_outlets_of_a_pool_are_one() -> None:
    taps = (*TAPS, TAPS[0].model_copy(update={"tap": "3", "meter": "", "outlet": "Garden"}))
    bar = Bar(taps=taps, pools=[Pool(name="House", outlets=("Bar", "Garden"))])
    bar.evening(24, outlet="Garden")
    ledger = bar.ledger()
    assert {leaf.outlet for leaf in ledger.leaves} == {row.outlet for row in ledger.till} == {"House"}
    assert told(total(ledger)) == {"matched_portion": 24 * PINT}


def test_an_outlet_without_taps_is_told_and_not_compared() -> None:
    bar = Bar()
    bar.evening(24, outlet="BAR")
    bar.ring("20:00:00", outlet="Kiosk", units=2)
    bar.ring("20:00:00", "Burger", "", outlet="Dining room")
    ledger = bar.ledger()
    assert told(total(ledger, outlet="Kiosk")) == {"rung_not_compared": 2 * PINT}
    assert [text for text in ledger.notices if "outlet" in text or "no tap" in text] == [
        "The till rang draught beer 1 time at 'Kiosk', where taps.csv has no tap; it is not compared."]
