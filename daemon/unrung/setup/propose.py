"""The three tables, proposed from the rings, the pours and what the other exports name."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from unrung.ledger.menu import resembles
from unrung.setup.evidence import Evidence, hill_of
from unrung.setup.groups import groups_of, in_a_container, product_like
from unrung.setup.late_rings import note_till_spans
from unrung.setup.measure import set_portions
from unrung.setup.meet import lifted, serves_only
from unrung.setup.mixed import Parts, left_over, mixed_items
from unrung.setup.pools import pools_of
from unrung.setup.portions import BY_NAME
from unrung.setup.proposal import Key, MenuLine, Place, ProductLine, Tables, few_found, unique
from unrung.setup.shared_names import share_names
from unrung.setup.strokes import span_ms
from unrung.setup.sums import in_their_middle, pairs_by_sums
from unrung.setup.tap_lines import add_taps, by_number, say_doubtful_taps
from unrung.setup.taps import pair_taps, pour_ends

_A_WORD = re.compile(r"[^\W\d_]{3}")
_ENOUGH = 8
"""Rings of an item from which "never near a pour" means something."""
_FEW = 0.5
"""Share of the beer below which something is likely misunderstood."""
_BY_SUMS = (
    "The meters count over spans of time and write no single pours: which beer a tap pours and how much an "
    "item takes is told by sums over the hours alone. Look through taps.csv and menu.csv. Beer is compared "
    "by totals."
)


def propose(evidence: Evidence, place: Place) -> Tables:
    """Products, menu and taps."""
    taps = sorted(pour_ends(evidence.pours), key=by_number)
    evidence.counts, evidence.pours = evidence.pours, serves_only(evidence.pours)
    counts = Counter(Key(ring.item, ring.size) for ring in evidence.rings)
    evidence.groups = groups_of(counts, evidence.known.products)
    till_ms = span_ms(ring.at_ms for ring in evidence.rings)
    if till_ms:
        evidence.spans = True
        evidence.rings = in_their_middle(
            evidence.rings, till_ms, evidence.groups, evidence.counts, evidence.known)
    if evidence.spans:
        evidence.pairs = pairs_by_sums(evidence.groups, evidence.rings, evidence.counts, evidence.known)
    else:
        evidence.hill = hill_of(evidence)
        evidence.pairs = pair_taps(
            evidence.groups, evidence.rings, evidence.pours, evidence.hill, evidence.known
        )
    _name_products(evidence)
    tables = Tables()
    _pair_by_name(evidence, taps, tables)
    add_taps(evidence, taps, place, tables)
    set_portions(evidence, place, tables)
    mixed = _mixed(evidence, place, tables)
    share_names(evidence, tables, mixed)
    for index, product in evidence.products.items():
        _add_beer(evidence, index, product, counts, tables)
    _add_lookalikes(evidence, tables)
    _add_mixed(evidence, mixed, tables)
    if evidence.hill is not None:
        tables.pools = pools_of(
            evidence.rings, evidence.pours, evidence.hill, evidence.beer, evidence.sizes, tables.taps
        )
    say_doubtful_taps(evidence, tables)
    if till_ms:
        note_till_spans(till_ms // 60_000, tables)
    elif evidence.spans:
        tables.remarks.insert(0, _BY_SUMS)
    elif tables.found < _FEW:
        tables.remarks.append(few_found(tables.found))
    named = unique([*(tap.product for tap in tables.taps), *(row.product for row in tables.menu)])
    tables.products = [ProductLine(name) for name in named]
    return tables


def usual_price(amounts: Sequence[float]) -> float:
    """The price most often taken, the lower of two."""
    counts = Counter(round(amount, 4) for amount in amounts)
    return min(counts, key=lambda price: (-counts[price], price))


def _name_products(evidence: Evidence) -> None:
    """Groups that are beer: those that a tap goes with, and those that another export names."""
    for tap, pair in sorted(evidence.pairs.items(), key=lambda each: each[1].score):
        told = evidence.known.of_tap.get(tap, ())
        name = evidence.groups[pair.group].name
        evidence.products[pair.group] = told[0][1] if len(told) == 1 else name
    for index, group in enumerate(evidence.groups):
        if product_like(group.name, evidence.known.products) and not all(map(in_a_container, group.keys)):
            evidence.products.setdefault(index, group.name)


def _pair_by_name(evidence: Evidence, taps: Sequence[str], tables: Tables) -> None:
    """Taps that no item is seen to go with, but that bear the name of one: a till that writes when a check
    was closed says nothing of its pours."""
    indexes = {group.name: index for index, group in enumerate(evidence.groups)}
    for tap in taps:
        name = product_like(tap, [*indexes]) if _A_WORD.search(tap) else ""  # tap 7 is not "IPA No. 7"
        if name and tap not in evidence.pairs and tap not in evidence.known.of_tap:
            evidence.known.of_tap[tap] = (("", name),)
            evidence.products.setdefault(indexes[name], name)
            tables.remarks.append(f"Tap {tap} is set to {name} by its name alone: no rings go with it.")


def _add_beer(
    evidence: Evidence, index: int, product: str, counts: Counter[Key], tables: Tables
) -> None:
    """The menu's rows of one beer, the most sold first."""
    for key in sorted(evidence.groups[index].keys, key=lambda key: (-counts[key], key)):
        portion, price = evidence.portions.get(key), evidence.prices.get(key, "")
        if _no_draught(evidence, index, key, counts[key]):
            about = "bears its name, but no pour goes with it"
            tables.menu.append(MenuLine(*key, "", price=price, remark=about))
            continue
        if portion is None:
            often = "is not told by the counts" if evidence.spans else "goes with pours of all sizes"
            why = "was sold too seldom" if counts[key] < _ENOUGH else often
            tables.remarks.append(
                f"{key} {why} ({counts[key]} times): it is not seen how much it takes. Add it to menu.csv "
                f"with {product} and its portion."
            )
            continue
        why = "" if portion.why == BY_NAME else portion.why
        tables.menu.append(MenuLine(*key, product, portion.number, portion.unit, price, why))
        if portion.seldom:
            tables.remarks.append(f"{key} is set to {portion.shown} {portion.why} only.")


def _no_draught(evidence: Evidence, index: int, key: Key, count: int) -> bool:
    """A bottle of the beer, a shirt: sold often enough, and never near a pour of its taps."""
    if in_a_container(key):
        return True
    hill, paired = evidence.hill, any(pair.group == index for pair in evidence.pairs.values())
    if hill is None or count < _ENOUGH or not paired:
        return False
    rings, pours = evidence.of_group(index)
    ats = [ring.at_ms for ring in rings if Key(ring.item, ring.size) == key]
    share = lifted(ats, sorted(pour.end_ms for pour in pours), -hill.high_ms, -hill.low_ms)
    return share.most < 0.15


def _add_lookalikes(evidence: Evidence, tables: Tables) -> None:
    """Shirts and bottles that bear a beer's name, so that nobody asks about them again."""
    listed = {Key(row.item, row.size) for row in tables.menu}
    products = list(evidence.products.values())
    for key in (key for group in evidence.groups for key in group.keys):
        like = resembles(key.item, products)
        if in_a_container(key) and like and key not in listed:
            about = f"no draught beer, though it bears {like}'s name"
            tables.menu.append(MenuLine(*key, "", price=evidence.prices.get(key, ""), remark=about))


def _mixed(evidence: Evidence, place: Place, tables: Tables) -> dict[Key, Parts]:
    """Flights and half-and-halfs among what is left, and glasses under a word that setup does not know."""
    if evidence.hill is None:
        return {}
    taps = {tap.meter or tap.tap: (tap.outlet, tap.product) for tap in tables.taps if not tap.since}
    rings, pours, hill, beer, sizes = (
        evidence.rings, evidence.pours, evidence.hill, evidence.beer, evidence.sizes
    )
    mixed = mixed_items(rings, left_over(rings, pours, hill, beer, sizes, taps), hill, beer, taps, place)
    plain = {key: parts[0] for key, parts in mixed.items() if len(parts) == 1}
    beer |= {key: product for key, (product, _) in plain.items()}
    sizes |= {key: float(portion.volume_ul) for key, (_, portion) in plain.items()}
    whole = sum(pour.amount for pour in pours)
    left = sum(pour.amount for pour in left_over(rings, pours, hill, beer, sizes, taps))
    listed = {tap.meter or tap.tap for tap in tables.taps}
    left += sum(pour.amount for pour in pours if pour.tap not in listed)
    tables.found = 1 - left / whole if whole else 0.0
    return mixed


def _add_mixed(evidence: Evidence, mixed: Mapping[Key, Parts], tables: Tables) -> None:
    for key, parts in mixed.items():
        price = evidence.prices.get(key, "")
        tables.menu += [
            MenuLine(*key, product, portion.number, portion.unit, price, portion.why)
            for product, portion in parts
        ]
        what = ", ".join(f"{portion.shown} of {product}" for product, portion in parts)
        tables.remarks.append(f"{key} seems to take {what}.")
