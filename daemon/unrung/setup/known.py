"""What the meters, the cellar and the log call beers and taps."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from unrung.business_day import local_iso
from unrung.records import AnyRecord, KegEvent, LogEntry, Pour, Ring
from unrung.setup.draft import Draft
from unrung.setup.proposal import KnownNames, unique


def known_names(
    drafts: Sequence[Draft], records: dict[str, list[AnyRecord]], zone: str
) -> KnownNames:
    """Names of products; of taps their beer and their outlet. ``records``: feed to its rows."""
    everything = [record for rows in records.values() for record in rows]
    events = sorted((one for one in everything if isinstance(one, KegEvent)), key=lambda one: one.at_ms)
    entries = [one for one in everything if isinstance(one, LogEntry)]
    metered = {one.tap for one in everything if isinstance(one, Pour)}
    outlets = unique(one.outlet for one in everything if isinstance(one, Ring))
    beside_product = _beside(drafts, "product")
    of_tap = _of_taps(events, zone)
    of_tap.update({tap: (("", names[0]),) for tap, names in beside_product.items() if len(names) == 1})
    unmetered = {
        tap: told[-1][1] for tap, told in of_tap.items() if metered and _spelt(tap, metered) not in metered
    }
    names = [*(event.product for event in events), *(entry.product for entry in entries)]
    names += [name for all_of in beside_product.values() for name in all_of]
    spelt = {_spelt(tap, metered): told for tap, told in of_tap.items()}
    return KnownNames(
        products=tuple(unique(names)),
        of_tap={tap: told for tap, told in spelt.items() if tap in metered},
        outlet_of_tap=_outlets(drafts, [*events, *entries], metered, outlets),
        unmetered=unmetered,
    )


def _of_taps(events: Iterable[KegEvent], zone: str) -> dict[str, tuple[tuple[str, str], ...]]:
    """What kegs going on and off say each tap poured, from when on."""
    found: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for event in events:
        if event.kind in ("on", "off") and event.tap and event.product:
            told = found[event.tap]
            if not told:
                told.append(("", event.product))
            elif told[-1][1].casefold() != event.product.casefold() and event.kind == "on":
                told.append((local_iso(event.at_ms, zone)[:16], event.product))
    return {tap: tuple(told) for tap, told in found.items()}


def _beside(drafts: Iterable[Draft], field: str) -> dict[str, list[str]]:
    """Tap to what a column of the meters' export says of it, the most usual first."""
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for draft in drafts:
        if draft.side == "pours" and field in draft.beside:
            taps = draft.texts("tap" if "tap" in draft.fields else "meter")
            for tap, text in zip(taps, draft.sheet.named(draft.beside[field]).texts, strict=True):
                if text.strip():
                    counts[tap.strip()][text.strip()] += 1
    return {tap: [name for name, _ in names.most_common()] for tap, names in counts.items()}


def _outlets(
    drafts: Iterable[Draft], told: Iterable[KegEvent | LogEntry], metered: set[str], outlets: list[str]
) -> dict[str, str]:
    """Tap to its outlet, by the names that the till uses too."""
    known = {name.casefold(): name for name in outlets}
    found: dict[str, str] = {}
    for one in told:
        if one.tap and one.outlet.casefold() in known:
            found.setdefault(_spelt(one.tap, metered), known[one.outlet.casefold()])
    for tap, names in _beside(drafts, "outlet").items():
        if len(names) == 1 and names[0].casefold() in known:
            found[tap] = known[names[0].casefold()]
    return found


def _spelt(tap: str, metered: set[str]) -> str:
    """The tap as the meters write it."""
    return next((one for one in metered if one.casefold() == tap.casefold()), tap)
