"""The till's items by beer: "Weir Bitter Pint" and "Weir Bitter Half" are of one."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from unrung.setup.proposal import Key
from unrung.setup.sizes import Named, taken_apart
from unrung.setup.words import plain

_CONTAINERS = frozenset(
    "bottle bottles btl bottled can cans canned tin flasche flaschen dose bouteille canette botella lata "
    "bottiglia lattina fles blik shirt hoodie hat cap voucher deposit pfand".split()
)
"""Words that say that an item does not come out of a tap, whatever its name."""
_DRINKS = frozenset("draught draft tap fass pression spina barril".split())


@dataclass
class Group:
    """The items of what seems to be one beer, or one dish."""

    name: str
    keys: dict[Key, Named] = field(default_factory=dict)


def groups_of(keys: Iterable[Key], products: Sequence[str]) -> list[Group]:
    """Items by what is left of their names without the size; ``products`` lends its spelling.

    A word such as "small" counts as a size only where another item has the same name but for it:
    "Small Batch Pale" keeps its name.
    """
    named = {key: taken_apart(*key) for key in keys}
    bases = Counter(plain(one.base) for one in named.values())
    whole = {plain(key.item) for key in named}
    found: dict[str, Group] = {}
    for key, one in named.items():
        base = one.base
        only_word = one.word and one.volume_ul is None and one.pints is None and not key.size.strip()
        if only_word and bases[plain(base)] < 2 and plain(base) not in whole:
            one, base = Named(key.item.strip()), key.item.strip()
        name = product_like(base, products) or base
        found.setdefault(plain(name), Group(name)).keys[key] = one
    return list(found.values())


def product_like(base: str, products: Sequence[str]) -> str:
    """The product that a name means: the same words, or all of one's words within the other's.

    >>> product_like("Amber", ["Weir Amber Ale", "Weir Stout"])
    'Weir Amber Ale'
    >>> product_like("Weir", ["Weir Amber", "Weir Stout"])
    ''
    """
    words = _words(base)
    same = [name for name in products if _words(name) == words]
    if same:
        return same[0]
    alike = [name for name in products if words and (_words(name) <= words or words <= _words(name))]
    return alike[0] if len(alike) == 1 and not words & _CONTAINERS else ""


def in_a_container(key: Key) -> bool:
    """Whether its name says that it is sold in something other than a glass."""
    return bool(set(plain(f"{key.item} {key.size}").split()) & _CONTAINERS)


def by_outlet(keys: Iterable[tuple[Key, str]]) -> dict[str, set[Key]]:
    """The items that each outlet sells."""
    found: dict[str, set[Key]] = defaultdict(set)
    for key, outlet in keys:
        found[outlet].add(key)
    return found


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"\w+", plain(text))) - _DRINKS
