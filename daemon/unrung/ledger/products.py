"""What a product's day shows beside its volumes: the plausible range, cost and price of a litre."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

from unrung.ledger.material import Material
from unrung.ledger.results import Leaf, ProductDay
from unrung.settings import Product, Settings


def product_days(
    leaves: Sequence[Leaf], ranges: Mapping[tuple[str, str], tuple[int, int]],
    lone_ul: Mapping[tuple[str, str], int], material: Material, settings: Settings,
) -> tuple[ProductDay, ...]:
    """One row per outlet and product that the day knows, sorted."""
    known = {(leaf.outlet, leaf.product) for leaf in leaves} | set(material.metered)
    return tuple(
        _product_day(place, leaves, ranges, lone_ul, material, settings) for place in sorted(known)
    )


def _product_day(
    place: tuple[str, str], leaves: Sequence[Leaf],
    ranges: Mapping[tuple[str, str], tuple[int, int]], lone_ul: Mapping[tuple[str, str], int],
    material: Material, settings: Settings,
) -> ProductDay:
    mine = [leaf for leaf in leaves if (leaf.outlet, leaf.product) == place]
    found = sum(leaf.volumes.poured_not_rung for leaf in mine)
    lone = lone_ul.get(place, 0)
    # Where only pairs are compared, there is nothing whose range could be given.
    low, high = ranges.get(place, (lone, lone)) if material.metered.get(place) else (lone, lone)
    return ProductDay(
        outlet=place[0], product=place[1],
        poured_not_rung_low=max(0, found - max(0, lone - low)),
        poured_not_rung_high=found + max(0, high - lone),
        cost_minor_per_litre=cost_per_litre(settings.products, place[1], material),
        retail_minor_per_litre=_retail(mine, material, place[1]),
    )


def cost_per_litre(products: Sequence[Product], product: str, material: Material) -> float | None:
    """Cost of a litre in minor units by the last row in force on the day."""
    rows = [
        row for row in products
        if row.product == product and (row.valid_from is None or row.valid_from <= material.day)
    ]
    rows.sort(key=lambda row: row.valid_from or date.min)
    if not rows or not rows[-1].keg_cost_minor or not rows[-1].keg_size_ul:
        return None
    return rows[-1].keg_cost_minor * 1_000_000 / rows[-1].keg_size_ul


def _retail(mine: Sequence[Leaf], material: Material, product: str) -> float | None:
    """Net price realised for a litre that day, comps left out; else the menu's."""
    totals: Counter[str] = Counter()
    for leaf in mine:
        totals["money"] += leaf.counts.net_sales_minor
        totals["volume"] += leaf.volumes.rung - leaf.volumes.comp_volume
    if totals["money"] > 0 and totals["volume"] > 0:
        return totals["money"] * 1_000_000 / totals["volume"]
    return material.menu.price_per_litre(product)
