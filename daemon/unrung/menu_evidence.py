"""How much an unlisted item takes, by the pours that its rings lie beside and nothing else explains."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from unrung.ledger.taps import TapList
from unrung.rhythm import LOOK_BACK_MS
from unrung.settings import Settings
from unrung.setup.meet import PourFact, RingFact, learn_hill
from unrung.setup.portions import Seen, seen_beside
from unrung.setup.proposal import Key
from unrung.store.movements import between
from unrung.store.open import Store
from unrung.units import pulses_to_ul
from unrung.unlisted import menu_at, menus_between


def seen_portions(
    db: Store, settings: Settings, items: Iterable[tuple[str, str, str]], now_ms: int
) -> dict[tuple[str, str], Seen]:
    """(item, size) to the amount of the pours beside its rings, in microlitres, for each of ``items``
    (item, size, product) that the last four weeks show."""
    wanted: dict[str, set[Key]] = defaultdict(set)
    for item, size, product in items:
        wanted[product].add(Key(item, size))
    if not wanted:
        return {}
    rings, sizes = _rings(db, settings, now_ms)
    pours = _pours(db, settings, now_ms)
    ends = sorted(pour.end_ms for all_of in pours.values() for pour in all_of)
    hill = learn_hill(sorted(ring.at_ms for ring, _ in rings), ends)
    if hill is None:
        return {}
    found: dict[tuple[str, str], Seen] = {}
    for product, keys in wanted.items():
        mine = [ring for ring, of in rings if of == product or Key(ring.item, ring.size) in keys]
        known = {key: size for key, size in sizes.items() if key not in keys}
        for key, seen in seen_beside(mine, pours.get(product, []), hill, known, {}).items():
            if key in keys:
                found[key.item, key.size] = seen
    return found


def _rings(
    db: Store, settings: Settings, now_ms: int
) -> tuple[list[tuple[RingFact, str]], dict[Key, float]]:
    """Rings with the one product that the menu says they are of, or "", and what each item takes."""
    menus = menus_between(settings, now_ms - LOOK_BACK_MS, now_ms)
    rings: list[tuple[RingFact, str]] = []
    sizes: dict[Key, float] = {}
    for row in between(db, ("ring",), now_ms - LOOK_BACK_MS, now_ms):
        if row["units_micro"] <= 0 or row["what"] not in ("sale", "comp"):
            continue
        menu = menu_at(menus, row["at_ms"])
        made_of = menu.portions(row["item"], row["size"], row["price_level"], row["modifier"]) or ()
        key = Key(row["item"], row["size"])
        if len(made_of) == 1:
            sizes[key] = float(made_of[0].portion_ul)
        fact = RingFact(row["at_ms"], "", *key, row["units_micro"] / 1e6, "")
        rings.append((fact, made_of[0].product if len(made_of) == 1 else ""))
    return rings, sizes


def _pours(db: Store, settings: Settings, now_ms: int) -> dict[str, list[PourFact]]:
    """Metered pours by the product of their tap."""
    taps = TapList(settings.taps, settings.venue)
    found: dict[str, list[PourFact]] = defaultdict(list)
    for row in between(db, ("pour",), now_ms - LOOK_BACK_MS, now_ms):
        tap = taps.at(row["tap"], row["at_ms"])
        if tap is None:
            continue
        volume = row["volume_ul"]
        if volume is None and row["pulses"] is not None and tap.pulses_per_litre:
            volume = pulses_to_ul(row["pulses"], tap.pulses_per_litre)
        if volume:
            found[tap.product].append(PourFact(row["tap"], row["at_ms"], float(volume)))
    return dict(found)
