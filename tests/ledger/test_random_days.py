"""What holds on every day: nothing is lost, nothing counts twice, and order tells nothing.

The expected sums are taken from the rows themselves, without the ledger's own steps.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from hypothesis import given, settings

from ledger.bar import Bar, ledgers
from ledger.random_days import AROUND, OF_TAP, stories
from unrung.ledger.results import COMPONENTS, DayLedger, Lone, Volumes

few = settings(max_examples=10)
DRAUGHT = {"Amber", "Stout", "Rye", "Black and Amber", "Self serve", "Pitcher"}


def sums(ledger: DayLedger) -> dict[tuple[str, str], Volumes]:
    """The day's volumes per outlet and product."""
    found: dict[tuple[str, str], Volumes] = {}
    for leaf in ledger.leaves:
        found.setdefault((leaf.outlet, leaf.product), Volumes()).add(leaf.volumes)
    return found


def metered(bar: Bar, day: date) -> Counter[tuple[str, str]]:
    """What the known taps poured on a day, per outlet or pool and product, in microlitres."""
    poured: Counter[tuple[str, str]] = Counter()
    for pour in bar.pours:
        if pour.tap in OF_TAP and bar.day_of(pour.end_ms) == day:
            outlet = "House" if bar.settings.pool else "Garden" if pour.tap == "9" else "Bar"
            poured[outlet, OF_TAP[pour.tap]] += pour.volume_ul or 0
    return poured


def standing(bar: Bar) -> tuple[int, int]:
    """Units of draught beer in millionths, and money, that the till sold and did not take back."""
    lines = {line.id: line.units_micro for line in bar.rings
             if line.kind in ("sale", "comp", "void") and line.units_micro > 0}
    known = {line.id: line for line in bar.rings}
    for void in sorted((line for line in bar.rings if line.units_micro < 0), key=lambda line: line.at_ms):
        # In these stories a void follows its line at once, on a check of its own, on the same day.
        mine = [one for one in known.values() if one.check == void.check and one.units_micro > 0
                and (one.at_ms <= void.at_ms or void.voids_ref)
                and bar.day_of(one.at_ms) == bar.day_of(void.at_ms)]
        for line in mine:
            lines[line.id] -= min(lines[line.id], -void.units_micro)
    units, money = 0, 0
    for number, micro in lines.items():
        line = known[number]
        if line.kind != "void" and line.item in DRAUGHT:
            units += micro
            money += round((line.amount_minor or 0) * micro / line.units_micro)
    refunds = sum(line.amount_minor or 0 for line in bar.rings
                  if line.kind == "refund" and line.item in DRAUGHT)
    return units, money - refunds


@few
@given(stories())
def test_what_holds_of_every_day_holds_of_the_days_of_any_story(bar: Bar) -> None:
    """Four properties, of the same days: to make these ledgers takes far longer than to look at them."""
    days = ledgers(bar, AROUND)
    every_microlitre_of_every_known_tap_lands_in_exactly_one_component(bar, days)
    every_unit_rung_counts_once_in_one_of_the_days(bar, days)
    the_till_s_own_total_is_tied_to_the_ledger_s_units(bar, days)
    every_component_is_a_volume_and_its_lists_sum_to_it(days)


def every_microlitre_of_every_known_tap_lands_in_exactly_one_component(
    bar: Bar, days: Sequence[DayLedger]
) -> None:
    for ledger in days:
        poured = {place: volumes.poured for place, volumes in sums(ledger).items() if volumes.poured}
        assert poured == +metered(bar, ledger.day)


def every_unit_rung_counts_once_in_one_of_the_days(bar: Bar, days: Sequence[DayLedger]) -> None:
    counts = [leaf.counts for ledger in days for leaf in ledger.leaves]
    units, money = standing(bar)
    assert sum(count.units_rung_micro for count in counts) == units
    assert sum(count.net_sales_minor for count in counts) == money
    moved = {name: sum((Counter({row.outlet: getattr(row, name)}) for ledger in days for row in ledger.till),
                       Counter()) for name in ("carried_in", "carried_out")}
    assert moved["carried_in"] == moved["carried_out"]


def the_till_s_own_total_is_tied_to_the_ledger_s_units(bar: Bar, days: Sequence[DayLedger]) -> None:
    """``units_rung`` follows from the till's columns alone; the leaves were counted pair by pair."""
    for ledger in days:
        counted = Counter[str]()
        for leaf in ledger.leaves:
            counted[leaf.outlet] += leaf.counts.units_rung_micro
        assert {row.outlet: row.units_rung for row in ledger.till if row.units_rung} == dict(+counted)
        lines = [line.units_micro for line in bar.rings if bar.day_of(line.at_ms) == ledger.day
                 and line.kind != "refund" and line.units_micro > 0]
        assert sum(row.till_units for row in ledger.till) == sum(lines)


def every_component_is_a_volume_and_its_lists_sum_to_it(days: Sequence[DayLedger]) -> None:
    for ledger in days:
        explained, lone = Counter[Any](), Counter[Any]()
        for row in ledger.logged:
            explained[row.outlet, row.product] += row.explained_ul
        for one in ledger.lone:
            lone[one.kind, one.outlet, one.product] += one.volume_ul
        ranges = {(row.outlet, row.product): row for row in ledger.products}
        for (outlet, product), volumes in sums(ledger).items():
            assert all(getattr(volumes, name) >= 0 for name in COMPONENTS if name != "size_difference")
            assert volumes.voided_after_pour <= volumes.poured_not_rung
            assert volumes.comp_volume <= volumes.rung
            assert volumes.logged == explained[outlet, product]
            assert volumes.poured_not_rung == lone["pour", outlet, product]
            assert volumes.rung_not_poured == lone["ring", outlet, product]
            shown = ranges[outlet, product]
            assert shown.poured_not_rung_low <= volumes.poured_not_rung <= shown.poured_not_rung_high


def shuffled(bar: Bar) -> Bar:
    """The same rows in another order, as the store would number them had they come in so."""
    other = Bar()
    other.__dict__.update(bar.__dict__)
    chance = random.Random(7)
    for name in ("rings", "pours", "logs", "kegs"):
        rows = list(getattr(bar, name))
        ids = [row.id for row in rows]
        chance.shuffle(ids)
        rows = [row._replace(id=number) for row, number in zip(rows, ids, strict=True)]
        chance.shuffle(rows)
        setattr(other, name, rows)
    return other


def bare(ledger: DayLedger) -> DayLedger:
    """A ledger without what tells equal rows apart: the line and id they came from."""
    def plain(one: Lone) -> Lone:
        return replace(one, source_line=0, source_id="")

    return replace(ledger, lone=tuple(sorted(map(plain, ledger.lone), key=lambda one: str(asdict(one)))),
                   facts=None)


@few
@given(stories())
def test_rows_in_another_order_give_the_same_ledger(bar: Bar) -> None:
    one, other = ledgers(bar, AROUND[1:3]), ledgers(shuffled(bar), AROUND[1:3])
    assert list(map(bare, one)) == list(map(bare, other))
