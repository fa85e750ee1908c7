"""The portions of a bar's items, by their names and by what its pours show."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from statistics import median

from unrung.setup.evidence import Evidence
from unrung.setup.groups import Group
from unrung.setup.portions import (
    BY_NAME,
    Portion,
    Seen,
    agreed,
    country_pint,
    pint_ul,
    portion_of,
    seen_amounts,
    usual_of,
)
from unrung.setup.proposal import Key, Place, Tables
from unrung.setup.sums import amounts_by_sums

_PLENTY = 20
"""Pours behind an amount that others may be judged by."""


def set_portions(evidence: Evidence, place: Place, tables: Tables) -> None:
    """Sizes by name first, with the pint that the pours are of; then what the pours say of the rest."""
    if evidence.spans:
        _set_by_sums(evidence, place)
        return
    if evidence.hill is None:
        pint = country_pint(place)
        for index in evidence.products:
            _set(evidence, evidence.groups[index], {}, pint, place)
        return
    measured: dict[str, list[tuple[Key, Portion]]] = defaultdict(list)
    for index in evidence.products:
        group, rings, pours = evidence.groups[index], *evidence.of_group(index)
        seen = seen_amounts(group, rings, pours, evidence.hill, {})
        pint = pint_ul(group.keys, seen, place)
        _set(evidence, group, {}, pint, place)
        sizes = {key: float(p.volume_ul) for key in group.keys if (p := evidence.portions.get(key))}
        sizes = sizes or _best_seen(seen)
        seen = seen_amounts(group, rings, pours, evidence.hill, sizes, _hints(evidence, group, sizes))
        _set(evidence, group, seen, pint, place, _over(evidence, group, seen))
        _say_far_ones(evidence, group, seen, tables)
        for key, named in group.keys.items():
            if named.word and (portion := evidence.portions.get(key)) and portion.why != BY_NAME:
                measured[named.word].append((key, portion))
    for alike in measured.values():
        evidence.portions.update(agreed(alike))
    _drop_odd_prices(evidence)
    _lend_sizes(evidence, measured)


def _set_by_sums(evidence: Evidence, place: Place) -> None:
    """Sizes by name; then what the sums of the counts say of the rest."""
    measured: dict[str, list[tuple[Key, Portion]]] = defaultdict(list)
    for index in evidence.products:
        group = evidence.groups[index]
        pairs = [pair for pair in evidence.pairs.values() if pair.group == index]
        seen = amounts_by_sums(group, pairs, evidence.rings, evidence.counts)
        pint = pint_ul(group.keys, seen, place)
        _set(evidence, group, {}, pint, place)
        _set(evidence, group, seen, pint, place, _over(evidence, group, seen))
        for key, named in group.keys.items():
            portion = evidence.portions.get(key)
            if portion is not None and portion.why != BY_NAME:
                why = f"by what was counted in the hours in which {seen[key].pours} were rung"
                evidence.portions[key] = portion = portion._replace(why=why)
                if named.word:
                    measured[named.word].append((key, portion))
    for alike in measured.values():
        evidence.portions.update(agreed(alike))
    _drop_odd_prices(evidence)
    _lend_sizes(evidence, measured)


def _best_seen(seen: Mapping[Key, Seen]) -> dict[Key, float]:
    """The amount of the item with the most pours behind it: of a beer without a size by name, it stands for
    one, so that its pours are left to it and prices tell about how much the others take."""
    best = max(seen, key=lambda key: seen[key].pours, default=None)
    return {} if best is None or seen[best].pours < _PLENTY else {best: seen[best].amount}


def _hints(evidence: Evidence, group: Group, sizes: Mapping[Key, float]) -> dict[Key, float]:
    """About how much an item takes, were its beer as dear as in the sizes that are known."""
    charged = [float(price) / sizes[key] for key in sizes if (price := evidence.prices.get(key))]
    if not charged:
        return {}
    return {
        key: float(price) / median(charged) for key in group.keys
        if key not in sizes and (price := evidence.prices.get(key)) and float(price) > 0
    }


def _lend_sizes(evidence: Evidence, measured: Mapping[str, list[tuple[Key, Portion]]]) -> None:
    """An item too seldom sold takes what its word means with most other beers."""
    for index in evidence.products:
        for key, named in evidence.groups[index].keys.items():
            alike = [one for one in measured.get(named.word, ()) if one[0] in evidence.portions]
            if key not in evidence.portions and len(alike) > 1 and (usual := usual_of(alike)):
                evidence.portions[key] = usual


def _drop_odd_prices(evidence: Evidence) -> None:
    """A measured portion whose beer would cost half or twice what the other sizes charge is none: a
    few pours happened to fall beside its few rings."""
    for index in evidence.products:
        keys = evidence.groups[index].keys
        known = {key: p for key in keys if (p := evidence.portions.get(key)) and evidence.prices.get(key)}
        charged = {key: float(evidence.prices[key]) / portion.volume_ul for key, portion in known.items()}
        by_name = [charged[key] for key, portion in known.items() if portion.why == BY_NAME]
        named = by_name or list(charged.values())
        for key, portion in known.items():
            if portion.why != BY_NAME and not 0.6 < charged[key] / median(named) < 1.6:
                del evidence.portions[key]


def _over(evidence: Evidence, group: Group, seen: Mapping[Key, Seen]) -> float:
    """How much a beer's glasses of a named size hold, as a share of it: its hand or its meter fills the
    others alike."""
    held = [
        one.amount / portion.volume_ul for key, one in seen.items()
        if one.pours >= 10 and (portion := evidence.portions.get(key)) and portion.why == BY_NAME
    ]
    return median(held) if held and 0.9 < median(held) < 1.1 else 1.0


def _set(
    evidence: Evidence, group: Group, seen: Mapping[Key, Seen], pint: float, place: Place, over: float = 1.0
) -> None:
    for key, named in group.keys.items():
        portion = portion_of(named, seen.get(key), pint, place.metric, place.imperial, over)
        if portion is not None:
            evidence.portions.setdefault(key, portion)


def _say_far_ones(evidence: Evidence, group: Group, seen: Mapping[Key, Seen], tables: Tables) -> None:
    for key in group.keys:
        portion = evidence.portions.get(key)
        if portion and key in seen and seen[key].pours >= 10 and portion.why == BY_NAME:
            apart = seen[key].amount / portion.volume_ul - 1
            if abs(apart) > 0.04:
                tables.remarks.append(
                    f"{key}: its pours are mostly of {seen[key].amount / 1000:.0f} mL, "
                    f"{abs(apart):.0%} {'more' if apart > 0 else 'less'} than the portion set by its name."
                )
