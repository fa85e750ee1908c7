"""Notices of a day: what the venue should know beside the figures, as sentences."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.business_day import local_iso
from unrung.ledger.coverage import Span
from unrung.ledger.material import Material
from unrung.settings import Settings


def day_notices(
    material: Material, stuck: Sequence[tuple[str, str, Span]], settings: Settings
) -> tuple[str, ...]:
    """Unlisted items that look like a product, unknown taps, meters that fell silent."""
    zone = settings.venue.timezone
    notices = [
        f"The till sold {item!r} {count} time{'s' if count > 1 else ''}, which menu.csv does not list; "
        f"it looks like {like}. Add a row for it."
        for (item, like), count in sorted(material.rings.unlisted.items()) if like
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
        f"No pours of {product} at {outlet} from {local_iso(lo, zone)[11:16]} to "
        f"{local_iso(hi, zone)[11:16]} while it was being rung; check the meter first."
        for outlet, product, (lo, hi) in stuck
    ]
    return tuple(notices)
