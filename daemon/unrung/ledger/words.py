"""Notices of a day: what the venue should know beside the figures, as sentences."""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import pairwise

from unrung.ledger.changed import changed_words
from unrung.ledger.draft import Draft
from unrung.ledger.material import Material
from unrung.ledger.outlets import Outlets
from unrung.ledger.pours import BLOWN_MS, DayPours
from unrung.settings import Settings
from unrung.venue_time import clock

UNLISTED = "which menu.csv does not list; it looks like"
"""In every notice of an item of the till that is likely a beer of ours."""
KEGS_A_DAY, GAS_AMONG_FLOWS = 5, 0.05
"""Gas at so many times of a day, and at so many of a tap's flows, is no gas: even a sixth of a
barrel, 20 l, holds forty pints (common practice, no source)."""


def day_notices(draft: Draft) -> tuple[str, ...]:
    """What must be told at once comes first; then unlisted items that look like a product, what the
    tables do not know, and meters that fell silent."""
    material, settings = draft.material, draft.settings
    notices = [*urgent_notices(draft)]
    notices += [
        f"The till sold {item!r} {_times(count)}, {UNLISTED} {like}. Add a row for it."
        for (item, like), count in sorted(material.rings.unlisted.items()) if like
    ]
    notices += _unknown_outlets(material, settings)
    notices += [
        f"The till took back {line.item!r} at {clock(line.at_ms, settings)} with a line that fits no sale of "
        "the day; it is left out."
        for line in material.rings.stray
    ]
    notices += _unknown_words(draft)
    notices += _meters(material, settings)
    notices += [
        f"No pours of {product} at {outlet} from {clock(lo, settings)} to "
        f"{clock(hi, settings)} while it was being rung; check the meter first."
        for outlet, product, (lo, hi) in draft.stuck
    ]
    notices += [
        f"Nothing was rung at {outlet} from {clock(lo, settings)} to {clock(hi, settings)} while its beer "
        "flowed; these hours are not compared. Check what its till exports, and whether another bar rings "
        "for it."
        for outlet, (lo, hi) in draft.silent
    ]
    notices += [
        f"At {outlet} only totals can be told: its rings come too late, or its pours too close together, to "
        "say which pour has no ring. Every single pour listed is uncertain."
        for outlet in draft.totals_only
    ]
    return tuple(notices)


def urgent_notices(draft: Draft) -> tuple[str, ...]:
    """What stands first wherever the day is told: a danger, and why beer is not compared at all."""
    return (*served_while_cleaned(draft), *changed_words(draft))


def served_while_cleaned(draft: Draft) -> tuple[str, ...]:
    """One sentence for each line that a glass was filled from while it was being cleaned."""
    settings = draft.settings
    times: dict[tuple[str, str], list[int]] = defaultdict(list)
    for flow in draft.served.values():
        times[flow.outlet, flow.product].append(flow.end_ms)
    return tuple(
        f"{product} at {outlet}: a ring at "
        f"{' and '.join(clock(at, settings) for at in sorted(ends)[:3])}"
        f"{' and later' if len(ends) > 3 else ''} fits what flowed while its line was being cleaned. "
        "Do not serve from a line being cleaned; ask at once whether a glass was handed out."
        for (outlet, product), ends in sorted(times.items())
    )


def _meters(material: Material, settings: Settings) -> list[str]:
    pours = material.pours
    return [
        *(f"Meter {blind.meter!r} {blind.why} at {clock(blind.end_ms, settings)}; what flowed since "
          f"{clock(blind.start_ms, settings)} is not known, and not compared. Was it reset or replaced? "
          "A counter that starts again at a fixed number needs that number as counter_modulus in taps.csv."
          for blind in material.inputs.blind if blind.why),
        *(f"The meters name {tap!r}, which taps.csv does not know for that time; its pours are kept and "
          "not compared. Add a row for it." for tap in sorted(pours.unknown)),
        *(f"Meter {meter!r} feeds taps of several products in taps.csv, so its pours cannot be told apart; "
          "they are kept and not compared." for meter in sorted(pours.shared)),
        *(f"Tap {tap!r} counts pulses and has no pulses_per_litre in taps.csv; {count} pours wait."
          for tap, count in sorted(pours.no_factor.items())),
        *(f"{count} times tap {tap!r} poured faster than {settings.matching.max_flow_per_second} US fl oz a "
          "second, which counts as gas and not as beer. No tap empties so many kegs in a day: if it pours "
          "so fast, raise max_flow_per_second in [matching] of venue.toml."
          for tap, count in sorted(_too_often_gas(pours).items())),
    ]


def _too_often_gas(pours: DayPours) -> dict[str, int]:
    """Taps whose gas came at more times of the day than kegs are emptied, and how many times those were."""
    ends: dict[str, list[int]] = defaultdict(list)
    for flow in pours.gas:
        ends[flow.tap].append(flow.end_ms)
    beer = Counter(flow.tap for flow in pours.beer)
    times = {tap: 1 + sum(after - before > BLOWN_MS for before, after in pairwise(sorted(at)))
             for tap, at in ends.items()}
    return {tap: count for tap, count in times.items()
            if count >= KEGS_A_DAY and count > GAS_AMONG_FLOWS * (count + beer[tap])}


def _unknown_outlets(material: Material, settings: Settings) -> list[str]:
    outlets = Outlets(settings)
    named = {unit.line.outlet for unit in material.rings.units}
    unknown = {name for name in named if not outlets.knows(name)}
    lines = {unit.line.id: unit.line.outlet for unit in material.rings.units} if unknown else {}
    counts = Counter(name for name in lines.values() if name in unknown)
    return [
        f"The till rang draught beer {_times(count)} "
        + (f"at {name!r}, where taps.csv has no tap" if name else "without naming an outlet")
        + "; it is not compared."
        for name, count in sorted(counts.items())
    ]


def _unknown_words(draft: Draft) -> list[str]:
    """Log entries that explain nothing because of how they name things."""
    menu, logs = draft.material.menu, draft.material.inputs.logs
    items = {log.item for log in logs if log.item and log.volume_ul is None and menu.named(log.item) is None}
    known = {row.product.casefold() for row in draft.settings.products}
    products = {log.product for log in logs if log.product and log.product.casefold() not in known}
    return [
        f"The log names {name!r}, which {table} does not list; the entry explains nothing."
        for names, table in ((items, "menu.csv"), (products, "products.csv")) for name in sorted(names)
    ]


def _times(count: int) -> str:
    return f"{count} time{'s' if count > 1 else ''}"
