from __future__ import annotations

from dataclasses import replace

from hypothesis import example, given
from hypothesis import strategies as st

from alerts.days import at, ledger_of, venue_settings
from issue.ledgers import amount, chances
from mail.samples import busy_day
from unrung.alerts.measures import compared
from unrung.issue.summary import day_summary
from unrung.ledger.results import COMPONENTS, Leaf, Volumes
from unrung.mail.figures import MAX_ROWS, rows, shortened, total
from unrung.units import UNITS_UL

STEPS = {"l": 10, "imp_pt": 10, "us_gal": 100}
"""Of the last decimal shown."""
DAYS = st.lists(chances.map(lambda chance: [amount(chance) for _ in COMPONENTS]), min_size=1, max_size=15)


@given(DAYS, st.sampled_from(["us_fl_oz", "us_gal", "imp_fl_oz", "imp_pt", "ml", "l"]))
def test_every_row_and_the_total_foot_near_the_truth(days: list[list[int]], unit: str) -> None:
    leaves = [
        Leaf(at(20), 60, "Bar", f"p{n:02}", Volumes(**dict(zip(COMPONENTS, day, strict=True))))
        for n, day in enumerate(days)
    ]
    table = rows(ledger_of(*leaves), venue_settings(venue={"volume_unit": unit}))
    exact = {leaf.product: leaf.volumes for leaf in leaves}
    for row in (*table, total(table), *shortened(table), total(shortened(table))):
        assert row.poured == row.rung + row.other + row.not_rung
    for row in table:
        volumes = exact[row.product]
        rung = volumes.rung - volumes.rung_not_compared
        for shown, true in ((row.poured, compared(volumes)), (row.rung, rung),
                            (row.not_rung, volumes.poured_not_rung)):
            assert abs(shown - true / UNITS_UL[unit] * STEPS.get(unit, 1)) < 1


@given(DAYS)
@example([])
def test_the_mail_shows_the_pages_figures_of_the_beer_compared(days: list[list[int]]) -> None:
    leaves = [
        Leaf(at(20), 60, "Bar", f"p{n:02}", Volumes(**dict(zip(COMPONENTS, day, strict=True))))
        for n, day in enumerate(days)
    ]
    ledger = ledger_of(*leaves) if days else busy_day()
    table = rows(ledger, venue_settings())
    page = day_summary(ledger, venue_settings())
    mine = {(row.outlet, row.product): (row.poured, row.rung, row.not_rung) for row in table}
    theirs = {
        (row.outlet, row.product):
            (row.whole.compared, row.whole.compared_rung, row.whole.poured_not_rung)
        for row in page.rows
    }
    assert mine == {name: figures for name, figures in theirs.items() if any(figures[:2])}
    foot, whole = total(table), page.total.whole
    assert (foot.poured, foot.rung) == (whole.compared, whole.compared_rung)


def test_worst_comes_first_and_products_at_rest_are_left_out() -> None:
    day = busy_day()
    rest = Leaf(at(20), 60, "Garden", "Cider")
    table = rows(replace(day, leaves=(*day.leaves, rest)), venue_settings())
    assert [row.product for row in table] == ["Stout", "Pale Ale", "Märzen", "Pilsner"]


def test_a_long_list_ends_in_one_row_for_the_rest() -> None:
    leaves = [
        Leaf(at(20), 60, "Bar", f"p{n:03}", Volumes(matched_portion=10**8, poured_not_rung=10**5 + n))
        for n in range(300)
    ]
    table = rows(ledger_of(*leaves), venue_settings())
    short = shortened(table)
    assert (len(short), short[-1].product) == (MAX_ROWS, "289 more")
    assert total(short)[2:] == total(table)[2:]


def test_in_a_longer_table_what_lost_nothing_is_one_row() -> None:
    lost = {0: 10**7, 1: 10**6}
    leaves = [
        Leaf(at(20), 60, "Bar", f"p{n}", Volumes(matched_portion=10**8, poured_not_rung=lost.get(n, 0)))
        for n in range(9)
    ]
    table = rows(ledger_of(*leaves), venue_settings())
    short = shortened(table)
    assert [row.product for row in short] == ["p0", "p1", "7 more"]
    assert total(short) == total(table)
    assert shortened(table[:6]) == table[:6]
