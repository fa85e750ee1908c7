"""The three tables, proposed from the rings, the pours and what the other exports name."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from unrung.ledger.menu import resembles
from unrung.setup.groups import Group, groups_of, in_a_container, product_like
from unrung.setup.meet import Hill, PourFact, RingFact, learn_hill, lifted, serves_only
from unrung.setup.mixed import left_over, mixed_items
from unrung.setup.portions import (
    BY_NAME, IMP_PINT, US_PINT, Portion, Seen, agreed, pint_ul, portion_of, seen_amounts,
)
from unrung.setup.proposal import Key, KnownNames, MenuLine, Place, ProductLine, Tables, TapLine, unique
from unrung.setup.taps import Pair, in_doubt, pair_taps, pour_ends

_ENOUGH = 8
"""Rings of an item from which "never near a pour" means something."""


@dataclass
class Evidence:
    """What the tables are made from. ``pours`` in microlitres."""

    rings: list[RingFact]
    pours: list[PourFact]
    prices: dict[Key, str]
    known: KnownNames
    hill: Hill | None = None
    groups: list[Group] = field(default_factory=list)
    pairs: dict[str, Pair] = field(default_factory=dict)
    portions: dict[Key, Portion] = field(default_factory=dict)
    products: dict[int, str] = field(default_factory=dict)
    """Group index to the name of its product."""


def propose(evidence: Evidence, place: Place) -> Tables:
    """Products, menu and taps."""
    taps = sorted(pour_ends(evidence.pours), key=_by_number)
    evidence.pours = serves_only(evidence.pours)
    keys = [Key(ring.item, ring.size) for ring in evidence.rings]
    evidence.groups = groups_of(dict.fromkeys(keys), evidence.known.products)
    evidence.hill = evidence.hill or hill_of(evidence)
    evidence.pairs = pair_taps(
        evidence.groups, evidence.rings, evidence.pours, evidence.hill, evidence.known)
    _name_products(evidence)
    tables = Tables()
    _taps(evidence, taps, place, tables)
    _portions(evidence, place, tables)
    _menu(evidence, Counter(keys), tables)
    _mixed(evidence, place, tables)
    _say_doubtful_taps(evidence, tables)
    tables.products = [
        ProductLine(name) for name in unique([*(tap.product for tap in tables.taps),
                                              *(row.product for row in tables.menu)])
    ]
    return tables


def hill_of(evidence: Evidence) -> Hill | None:
    """The usual lags between rings and pours."""
    return learn_hill(
        sorted(ring.at_ms for ring in evidence.rings), sorted(pour.end_ms for pour in evidence.pours)
    )


def _name_products(evidence: Evidence) -> None:
    """Groups that are beer: those that a tap goes with, and those that another export names."""
    for tap, pair in sorted(evidence.pairs.items(), key=lambda each: each[1].score):
        told = evidence.known.of_tap.get(tap, ())
        name = evidence.groups[pair.group].name
        evidence.products[pair.group] = told[0][1] if len(told) == 1 else name
    for index, group in enumerate(evidence.groups):
        if product_like(group.name, evidence.known.products) and not all(map(in_a_container, group.keys)):
            evidence.products.setdefault(index, group.name)


def _taps(evidence: Evidence, taps: Sequence[str], place: Place, tables: Tables) -> None:
    for tap in taps:
        pair, told = evidence.pairs.get(tap), evidence.known.of_tap.get(tap, ())
        outlet = evidence.known.outlet_of_tap.get(tap) or (pair.outlet if pair else "") or place.outlet
        if len(told) > 1:
            tables.taps += _dated(tap, outlet, told)
        elif told:
            tables.taps.append(TapLine(tap, outlet, told[0][1]))
        elif pair:
            tables.taps.append(TapLine(tap, outlet, evidence.products[pair.group]))
        else:
            tables.remarks.append(
                f"Tap {tap} is left out: no item of the till goes with its pours. Add it to taps.csv with its "
                "beer; until then its pours are kept and not compared."
            )
    for tap, product in evidence.known.unmetered.items():
        outlet = evidence.known.outlet_of_tap.get(tap) or place.outlet
        tables.taps.append(TapLine(tap, outlet, product, metered=False, remark="the meters do not know it"))
        tables.remarks.append(f"Tap {tap} ({product}) is set as without a meter: the meters do not know it.")


def _say_doubtful_taps(evidence: Evidence, tables: Tables) -> None:
    """Taps that a second beer goes with nearly as well, and not as a part of a mixed item."""
    mixed = {Key(row.item, row.size) for row in tables.menu}
    for line in tables.taps:
        pair = evidence.pairs.get(line.tap)
        if pair is None or pair.second is None or not in_doubt(pair) or line.tap in evidence.known.of_tap:
            continue
        second = evidence.groups[pair.second]
        if pair.second in evidence.products or not mixed & second.keys.keys():
            line.remark = f"perhaps {second.name}: both go with its pours"
            tables.remarks.append(f"Tap {line.tap} is set to {line.product}; {line.remark}.")


def _dated(tap: str, outlet: str, told: Sequence[tuple[str, str]]) -> list[TapLine]:
    """One row for each beer that the cellar put on, each until the next."""
    ends = [since for since, _ in told[1:]] + [""]
    return [
        TapLine(tap, outlet, product, since=since, until=until)
        for (since, product), until in zip(told, ends, strict=True)
    ]


def _portions(evidence: Evidence, place: Place, tables: Tables) -> None:
    """Sizes by name first, with the pint that the pours are of; then what the pours say of the rest."""
    if evidence.hill is None:
        pint = IMP_PINT if place.imperial else US_PINT
        for index in evidence.products:
            _set(evidence, evidence.groups[index], {}, pint, place)
        return
    measured: dict[str, list[tuple[Key, Portion]]] = defaultdict(list)
    for index in evidence.products:
        group, rings, pours = evidence.groups[index], *_of_group(evidence, index)
        seen = seen_amounts(group, rings, pours, evidence.hill, {})
        pint, _ = pint_ul(group.keys, seen, place.imperial)
        _set(evidence, group, {}, pint, place)
        sizes = {key: float(p.volume_ul) for key in group.keys if (p := evidence.portions.get(key))}
        seen = seen_amounts(group, rings, pours, evidence.hill, sizes)
        _set(evidence, group, seen, pint, place)
        _say_far_ones(evidence, group, seen, tables)
        for key, named in group.keys.items():
            if named.word and (portion := evidence.portions.get(key)) and portion.why != BY_NAME:
                measured[named.word].append((key, portion))
    for alike in measured.values():
        evidence.portions.update(agreed(alike))
    _drop_odd_prices(evidence)


def _drop_odd_prices(evidence: Evidence) -> None:
    """A measured portion whose beer would cost half or twice what the other sizes charge is none: a
    few pours happened to fall beside its few rings."""
    for index in evidence.products:
        keys = evidence.groups[index].keys
        known = {key: p for key in keys if (p := evidence.portions.get(key)) and evidence.prices.get(key)}
        charged = {key: float(evidence.prices[key]) / portion.volume_ul for key, portion in known.items()}
        named = [charged[key] for key, portion in known.items() if portion.why == BY_NAME] or list(charged.values())
        for key, portion in known.items():
            if portion.why != BY_NAME and not 0.6 < charged[key] / median(named) < 1.6:
                del evidence.portions[key]


def _set(evidence: Evidence, group: Group, seen: Mapping[Key, Seen], pint: float, place: Place) -> None:
    for key, named in group.keys.items():
        portion = portion_of(named, seen.get(key), pint, place.metric, place.imperial)
        if portion is not None:
            evidence.portions.setdefault(key, portion)


def _say_far_ones(evidence: Evidence, group: Group, seen: Mapping[Key, Seen], tables: Tables) -> None:
    for key in group.keys:
        portion = evidence.portions.get(key)
        if portion and key in seen and seen[key].pours >= 10 and portion.why == BY_NAME:
            apart = seen[key].amount / portion.volume_ul - 1
            if abs(apart) > 0.04:
                tables.remarks.append(
                    f"{' '.join(filter(None, key))}: its pours are mostly of {seen[key].amount / 1000:.0f} mL, "
                    f"{abs(apart):.0%} {'more' if apart > 0 else 'less'} than the portion set by its name."
                )


def _of_group(evidence: Evidence, index: int) -> tuple[list[RingFact], list[PourFact]]:
    """A beer's rings, and the pours of its taps."""
    keys = evidence.groups[index].keys
    name = evidence.products[index]
    taps = {tap for tap, pair in evidence.pairs.items() if pair.group == index}
    taps |= {tap for tap, told in evidence.known.of_tap.items() if any(p == name for _, p in told)}
    rings = [ring for ring in evidence.rings if Key(ring.item, ring.size) in keys]
    return rings, [pour for pour in evidence.pours if pour.tap in taps]


def _menu(evidence: Evidence, counts: Counter[Key], tables: Tables) -> None:
    for index, product in evidence.products.items():
        group = evidence.groups[index]
        for key in sorted(group.keys, key=lambda key: (-counts[key], key)):
            portion = evidence.portions.get(key)
            if _no_draught(evidence, index, key, counts[key]):
                tables.menu.append(MenuLine(*key, "", remark="bears its name, but no pour goes with it"))
            elif portion is None:
                tables.remarks.append(
                    f"{' '.join(filter(None, key))} was sold too seldom ({counts[key]} times) to see how much it "
                    f"takes; add it to menu.csv with {product} and its portion."
                )
            else:
                tables.menu.append(MenuLine(
                    *key, product, portion.number, portion.unit, evidence.prices.get(key, ""),
                    "" if portion.why == BY_NAME else portion.why,
                ))
                if portion.seldom:
                    tables.remarks.append(
                        f"{' '.join(filter(None, key))} is set to {portion.number} {portion.unit} {portion.why} only."
                    )
    for group in evidence.groups:
        for key in group.keys:
            like = resembles(key.item, evidence.products.values())
            if in_a_container(key) and like and key not in {Key(row.item, row.size) for row in tables.menu}:
                tables.menu.append(MenuLine(*key, "", remark=f"no draught beer, though it bears {like}'s name"))


def _no_draught(evidence: Evidence, index: int, key: Key, count: int) -> bool:
    """A bottle of the beer, a shirt: sold often enough, and never near a pour of its taps."""
    if in_a_container(key):
        return True
    if evidence.hill is None or count < _ENOUGH or not any(p.group == index for p in evidence.pairs.values()):
        return False
    rings, pours = _of_group(evidence, index)
    ats = [ring.at_ms for ring in rings if Key(ring.item, ring.size) == key]
    share = lifted(ats, sorted(pour.end_ms for pour in pours), -evidence.hill.high_ms, -evidence.hill.low_ms)
    return share.lift < 0.1


def _mixed(evidence: Evidence, place: Place, tables: Tables) -> None:
    """Flights and half-and-halfs among what is left."""
    if evidence.hill is None:
        return
    taps = {tap.tap: (tap.outlet, tap.product) for tap in tables.taps if not tap.since}
    beer = {
        key: product for index, product in evidence.products.items() for key in evidence.groups[index].keys
    }
    sizes = {key: float(portion.volume_ul) for key, portion in evidence.portions.items()}
    left = left_over(evidence.rings, evidence.pours, evidence.hill, beer, sizes, taps)
    for key, parts in mixed_items(evidence.rings, left, evidence.hill, beer, taps, place).items():
        for product, portion in parts:
            tables.menu.append(MenuLine(
                *key, product, portion.number, portion.unit, evidence.prices.get(key, ""), portion.why))
        what = " and ".join(f"{portion.number} {portion.unit} of {product}" for product, portion in parts)
        tables.remarks.append(f"{' '.join(filter(None, key))} seems to take {what}.")


def usual_price(amounts: Sequence[float]) -> float:
    """The price most often taken, the lower of two."""
    counts = Counter(round(amount, 4) for amount in amounts)
    return min(counts, key=lambda price: (-counts[price], price))


def _by_number(tap: str) -> tuple[object, ...]:
    """Tap 10 after tap 9."""
    return tuple(
        (0, int(part), "") if part.isdigit() else (1, 0, part)
        for part in re.findall(r"\d+|\D+", tap)
    )
