"""Notices of a day: what the venue should know beside the figures, as sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from unrung.business_day import local_iso
from unrung.ledger.coverage import Span
from unrung.ledger.material import Material
from unrung.ledger.outlets import Outlets
from unrung.settings import Settings


def day_notices(
    material: Material, stuck: Sequence[tuple[str, str, Span]], settings: Settings
) -> tuple[str, ...]:
    """Unlisted items that look like a product, what the tables do not know, meters that fell silent."""
    zone = settings.venue.timezone
    notices = [
        f"The till sold {item!r} {_times(count)}, which menu.csv does not list; "
        f"it looks like {like}. Add a row for it."
        for (item, like), count in sorted(material.rings.unlisted.items()) if like
    ]
    notices += _unknown_outlets(material, settings)
    notices += [
        f"The till took back {line.item!r} at {_clock(line.at_ms, zone)} with a line that fits no sale of "
        "the day; it is left out."
        for line in material.rings.stray
    ]
    notices += [
        f"The meters name {tap!r}, which taps.csv does not know for that time; its pours are kept and "
        "not compared. Add a row for it."
        for tap in sorted(material.pours.unknown)
    ]
    notices += [
        f"Tap {tap!r} counts pulses and has no pulses_per_litre in taps.csv; {count} pours wait."
        for tap, count in sorted(material.pours.no_factor.items())
    ]
    notices += [
        f"No pours of {product} at {outlet} from {_clock(lo, zone)} to "
        f"{_clock(hi, zone)} while it was being rung; check the meter first."
        for outlet, product, (lo, hi) in stuck
    ]
    return tuple(notices)


def _unknown_outlets(material: Material, settings: Settings) -> list[str]:
    outlets = Outlets(settings)
    lines = {(unit.line.id, unit.line.outlet) for unit in material.rings.units}
    counts = Counter(name for _, name in lines if not outlets.knows(name))
    return [
        f"The till rang draught beer {_times(count)} "
        + (f"at {name!r}, where taps.csv has no tap" if name else "without naming an outlet")
        + "; it is not compared."
        for name, count in sorted(counts.items())
    ]


def _times(count: int) -> str:
    return f"{count} time{'s' if count > 1 else ''}"


def _clock(at_ms: int, zone: str) -> str:
    return local_iso(at_ms, zone)[11:16]
