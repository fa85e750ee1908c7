"""What a product's day shows beside its volumes: range, cost, price."""

from __future__ import annotations

from datetime import date

import pytest

from ledger.bar import DAY, MENU, PINT, TAPS, Bar, oz, total
from unrung.ledger.material import make_material
from unrung.ledger.products import cost_per_litre, product_days
from unrung.ledger.results import Leaf, Volumes
from unrung.settings import Product, TapRow

KEG = 50_000_000


@pytest.mark.parametrize(
    ("day", "cost"), [("2025-06-09", 240.0), ("2025-06-10", 250.0), ("2025-06-30", 260.0)]
)
def test_the_cost_in_force_is_that_of_the_latest_row_begun(day: str, cost: float) -> None:
    """12,000 cents over 50 litres are 240 a litre."""
    rows = [
        Product(product="Amber", keg_size_ul=KEG, keg_cost_minor=13_000, valid_from=date(2025, 6, 30)),
        Product(product="Amber", keg_size_ul=KEG, keg_cost_minor=12_500, valid_from=date(2025, 6, 10)),
        Product(product="Amber", keg_size_ul=KEG, keg_cost_minor=1),
        Product(product="Amber", keg_size_ul=KEG, keg_cost_minor=12_000),
        Product(product="Stout"),
    ]
    material = make_material(Bar().inputs(date.fromisoformat(day)), Bar().settings)
    assert cost_per_litre(rows, "Amber", material) == cost
    assert cost_per_litre(rows, "Stout", material) is None


def ranged(found: int, lone: int, span: tuple[int, int], bar: Bar | None = None) -> tuple[int, int]:
    """Low and high where ``lone`` was left without a ring, and ``found`` of it unexplained."""
    leaf = Leaf(0, 60, "Bar", "Amber", Volumes(poured_not_rung=found))
    place, bar = ("Bar", "Amber"), bar or Bar()
    material = make_material(bar.inputs(), bar.settings)
    rows = product_days([leaf], {place: span}, {place: lone}, material, bar.settings)
    [row] = [row for row in rows if row.product == "Amber"]
    return row.poured_not_rung_low, row.poured_not_rung_high


@pytest.mark.parametrize(
    ("found", "lone", "span", "shown"),
    [
        (100, 100, (80, 120), (80, 120)),
        (60, 100, (80, 120), (40, 80)),  # the log took 40: the doubt stays what it is
        (10, 100, (80, 120), (0, 30)),
        (0, 0, (0, 20), (0, 20)),
        (150, 100, (80, 120), (130, 170)),  # 50 more were voided after their pour
    ],
)
def test_the_range_moves_with_what_the_log_took(
    found: int, lone: int, span: tuple[int, int], shown: tuple[int, int]
) -> None:
    assert ranged(found, lone, span) == shown
    assert shown[0] <= found <= shown[1]


def test_where_only_pairs_are_compared_there_is_no_range() -> None:
    bare = TapRow(tap="3", outlet="Bar", product="Amber", metered=False)
    assert ranged(0, 100, (80, 120), Bar(taps=(*TAPS, bare))) == (0, 0)


def test_a_litre_is_worth_what_it_brought_that_day_comps_left_out() -> None:
    bar = Bar()
    bar.evening(24)
    bar.sale("22:00:00", kind="comp", cents=0)
    [amber] = [row for row in bar.ledger().products if row.product == "Amber"]
    assert amber.retail_minor_per_litre == 24 * 700 * 1_000_000 / (24 * PINT)


def test_a_beer_that_sold_nothing_is_worth_its_menu_price() -> None:
    bar = Bar(menu=MENU)
    bar.evening(24)
    [stout] = [row for row in bar.ledger().products if row.product == "Stout"]
    assert stout.retail_minor_per_litre == 800 * 1_000_000 / PINT
    assert (stout.poured_not_rung_low, stout.poured_not_rung_high) == (0, 0)


def test_every_listed_beer_has_its_row_even_on_a_day_without_any_movement() -> None:
    ledger = Bar().ledger()
    assert [(row.outlet, row.product) for row in ledger.products] == [("Bar", "Amber"), ("Bar", "Stout")]
    assert (ledger.leaves, ledger.lone, ledger.logged, ledger.till) == ((), (), (), ())
    assert (ledger.status, ledger.missing, ledger.notices) == ("final", (), ())
    assert ledger.rings_covered_ms == ledger.pours_covered_ms == 24 * 3_600_000
    assert total(ledger).poured == oz(0)
    assert DAY == ledger.day
