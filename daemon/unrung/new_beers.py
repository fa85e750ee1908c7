"""A beer under a new name: a tap's own beer is not rung, and items that no table names go with its pours.

A keg of another beer went on and the till got a button, but the tables still say what ran before: all of it
would be called unrung, and its item stays among the burgers, since it bears no listed beer's name.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from unrung.daybook import day_at
from unrung.ledger.results import DayLedger
from unrung.ledger.taps import TapList
from unrung.menu_rows import NewRow, likely_product, proposed
from unrung.settings import Settings
from unrung.setup.meet import PourFact, RingFact, learn_hill, lifted
from unrung.setup.portions import seen_beside
from unrung.setup.proposal import Key
from unrung.setup.sizes import taken_apart
from unrung.store.movements import between
from unrung.store.open import Store
from unrung.unlisted import menu_at, menus_between

ENOUGH = 8
"""Sales from which going together is no chance."""
BESIDE_MS = 2 * 3_600_000
"""A pour's ring is looked for this long before and after it."""
_SURE = 0.5
"""Least share of an item's sales, beyond chance, that lie beside a pour of the tap."""
_MOST = 0.4
"""The same of the tap's pours, for all of its new items together."""


class NewBeer(NamedTuple):
    """What one tap seems to pour, by the till."""

    name: str
    """Of the beer: its most sold item's, without the size."""
    tap: str
    outlet: str
    product: str
    """What ``taps.csv`` says."""
    since: date
    """Business day of the first of its rings that were looked at."""
    rows: tuple[NewRow, ...]
    """Of the menu, the most sold first."""
    sales: int
    """Of all its items in the time that was looked at."""


def new_beers(
    settings: Settings, rings: Sequence[RingFact], pours: Iterable[PourFact], taps: TapList
) -> list[NewBeer]:
    """One for each tap. ``rings``: unlisted items' only; ``pours``: only those of taps whose own beer is not
    rung. ``amount`` in microlitres."""
    by_tap: dict[str, list[PourFact]] = defaultdict(list)
    for pour in sorted(pours, key=lambda one: one.end_ms):
        by_tap[pour.tap].append(pour)
    by_key: dict[Key, list[RingFact]] = defaultdict(list)
    for ring in sorted(rings):
        by_key[Key(ring.item, ring.size)].append(ring)
    keys_of: dict[str, list[Key]] = defaultdict(list)
    for key, mine in by_key.items():
        if len(mine) >= ENOUGH:
            shares = [(_together(mine, by_tap[tap]), tap) for tap in sorted(by_tap)]
            best = max(shares, default=(0.0, ""))
            if best[0] >= _SURE:
                keys_of[best[1]].append(key)
    for tap, keys in keys_of.items():
        names = {taken_apart(*key).base for key in keys}
        taken = {key for others in keys_of.values() for key in others}
        keys_of[tap] += [key for key in by_key if key not in taken and taken_apart(*key).base in names]
    found = [_told(settings, by_key, keys, by_tap[tap], taps) for tap, keys in sorted(keys_of.items())]
    return [one for one in found if one is not None]


def of_day(db: Store, settings: Settings, ledger: DayLedger) -> list[NewBeer]:
    """As the day shows it: by its pours without a ring, of beers of which most were."""
    sums: dict[str, Counter[str]] = defaultdict(Counter)
    for leaf in ledger.leaves:
        sums[leaf.product].update(poured=leaf.volumes.poured, alone=leaf.volumes.poured_not_rung)
    alone = {product for product, both in sums.items() if 2 * both["alone"] > both["poured"]}
    pours = [
        PourFact(one.tap, one.at_ms, float(one.volume_ul))
        for one in ledger.lone if one.kind == "pour" and one.product in alone
    ]
    if len(pours) < ENOUGH:
        return []
    times = [pour.end_ms for pour in pours]
    rings = [ring for ring in _unlisted(db, settings, min(times) - BESIDE_MS, max(times) + BESIDE_MS)
             if day_at(settings, ring.at_ms) == ledger.day]
    return new_beers(settings, rings, pours, TapList(settings.taps, settings.venue))


def since(db: Store, settings: Settings, from_ms: int, to_ms: int) -> list[NewBeer]:
    """As a span of the store shows it; of meters that write pours."""
    rings = _unlisted(db, settings, from_ms, to_ms)
    taps, menus = TapList(settings.taps, settings.venue), menus_between(settings, from_ms, to_ms)
    own: dict[str, list[int]] = defaultdict(list)
    for row in between(db, ("ring",), from_ms, to_ms):
        menu = menu_at(menus, row["at_ms"])
        for part in menu.portions(row["item"], row["size"], row["price_level"], row["modifier"]) or ():
            own[part.product].append(row["at_ms"])
    pours: dict[tuple[str, str], list[PourFact]] = defaultdict(list)
    for row in between(db, ("pour",), from_ms, to_ms):
        tap = taps.at(row["tap"], row["at_ms"])
        if tap is not None and row["volume_ul"]:
            pours[row["tap"], tap.product].append(PourFact(row["tap"], row["at_ms"], float(row["volume_ul"])))
    quiet: list[PourFact] = []
    for (_, product), mine in pours.items():
        last = max(own[product], default=0)
        after = [pour for pour in mine if pour.end_ms > last]
        quiet += after if len(after) >= ENOUGH else []
    first = min((pour.end_ms for pour in quiet), default=to_ms)
    return new_beers(settings, [ring for ring in rings if ring.at_ms >= first - BESIDE_MS], quiet, taps)


def _together(rings: Sequence[RingFact], pours: Sequence[PourFact]) -> float:
    """Least share, beyond chance, of the rings that have a pour at the lag that they show."""
    ats, ends = [ring.at_ms for ring in rings], [pour.end_ms for pour in pours]
    hill = learn_hill(ats, ends)
    return 0.0 if hill is None else lifted(ats, ends, -hill.high_ms, -hill.low_ms).least


def _told(
    settings: Settings, by_key: Mapping[Key, list[RingFact]], keys: Sequence[Key],
    pours: Sequence[PourFact], taps: TapList,
) -> NewBeer | None:
    rings = sorted(ring for key in keys for ring in by_key[key])
    ats, ends = [ring.at_ms for ring in rings], [pour.end_ms for pour in pours]
    hill, row = learn_hill(ats, ends), taps.at(pours[0].tap, ends[-1])
    if hill is None or row is None or lifted(ends, ats, hill.low_ms, hill.high_ms).least < _MOST:
        return None
    ordered = sorted(keys, key=lambda key: (-len(by_key[key]), key))
    name = taken_apart(*ordered[0]).base
    seen = seen_beside(rings, pours, hill, {}, {})
    rows = tuple(proposed(settings, *key, name, seen.get(key)) for key in ordered)
    return NewBeer(name, row.tap, row.outlet, row.product, day_at(settings, ats[0]), rows, len(rings))


def _unlisted(db: Store, settings: Settings, from_ms: int, to_ms: int) -> list[RingFact]:
    """Rings of items that the menu lists neither then nor at the end of the span, and that bear no listed
    beer's name."""
    menus = menus_between(settings, from_ms, to_ms)
    products, last = [row.product for row in settings.products], menus[-1][1]
    named: dict[tuple[str, str, str, str], bool] = {}
    found = []
    for row in between(db, ("ring",), from_ms, to_ms):
        if row["units_micro"] <= 0 or row["what"] not in ("sale", "comp"):
            continue
        asked = (row["item"], row["size"], row["price_level"], row["modifier"])
        if asked not in named:
            named[asked] = last.portions(*asked) is not None or bool(likely_product(*asked[:2], products))
        if not named[asked] and menu_at(menus, row["at_ms"]).portions(*asked) is None:
            found.append(RingFact(row["at_ms"], "", *asked[:2], row["units_micro"] / 1e6, ""))
    return found
