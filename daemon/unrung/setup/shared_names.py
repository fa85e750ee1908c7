"""A beer's name where setup knows no word for its glasses: what the names of its items share."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.setup.evidence import Evidence
from unrung.setup.mixed import Parts
from unrung.setup.proposal import Key, Tables
from unrung.setup.words import plain


def share_names(evidence: Evidence, tables: Tables, mixed: dict[Key, Parts]) -> None:
    """Give a product that bears one item's whole name the words that all its items share.

    A "Vaasje Heron Wit" and a "Pul Heron Wit" from one tap are glasses of "Heron Wit". Words that items of
    other beers have too, such as "Ale", make no name; nor is one changed that another export uses.
    """
    for index, name in list(evidence.products.items()):
        own = [key.item for key in evidence.groups[index].keys]
        others = [key.item for key, parts in mixed.items() if [product for product, _ in parts] == [name]]
        shared = shared_words([*own, *others])
        taken = {plain(one) for one in evidence.products.values()}
        if name in evidence.known.products or name not in own or not others or plain(shared) in taken:
            continue
        strangers = {key.item for group in evidence.groups for key in group.keys} - {*own, *others}
        if shared and not any(set(shared.split()) & set(item.split()) for item in strangers):
            _rename(evidence, tables, mixed, index, shared)


def _rename(
    evidence: Evidence, tables: Tables, mixed: dict[Key, Parts], index: int, shared: str
) -> None:
    name = evidence.products[index]
    evidence.products[index] = shared
    for tap in tables.taps:
        if tap.product == name:
            tap.product = shared
    for key, parts in mixed.items():
        mixed[key] = [(shared if product == name else product, portion) for product, portion in parts]


def shared_words(names: Sequence[str]) -> str:
    """The words with which all names end, or else begin.

    >>> shared_words(["Vaasje Heron Wit", "Pul Heron Wit"]), shared_words(["Heron 1", "Heron 2"])
    ('Heron Wit', 'Heron')
    """
    words = [name.split() for name in names]
    shortest = min(map(len, words), default=0)
    for count in range(shortest, 0, -1):
        for part in (slice(-count, None), slice(count)):
            found = {tuple(one[part]) for one in words}
            if len(found) == 1:
                return " ".join(found.pop())
    return ""
