"""Sizes in the tables that are hardly meant: litres written where ounces are read, or the other way round."""

from __future__ import annotations

from collections.abc import Iterator

from unrung.alerts.wording import shown_serve
from unrung.settings import Settings

LITRE_UL = 1_000_000
GLASS_UL = (20_000, 6 * LITRE_UL)
"""From a sip to a party's pitcher. These bounds are common practice, no source."""
KEG_UL = (2 * LITRE_UL, 1_200 * LITRE_UL)
"""From a party keg to a cellar tank."""
LINE_UL = (10_000, 15 * LITRE_UL)
"""From a tap on its own keg to a line through the whole house."""


def odd_sizes(settings: Settings) -> list[str]:
    """Sentences on portions, kegs and lines that are hardly as large as the tables say, each once."""
    return [*dict.fromkeys(_odd(settings))]


def _odd(settings: Settings) -> Iterator[str]:
    unit = settings.venue.volume_unit
    for menu in settings.menu:
        if menu.product and menu.sold_by == "unit" and _is_out(menu.portion_ul, GLASS_UL):
            name, taken = f"{menu.item} {menu.size}".rstrip(), shown_serve(menu.portion_ul, settings)
            yield (f"menu.csv: {name!r} takes {taken}, which is hardly a glass; see its portion and unit "
                   f"(without a unit it is read as {unit}).")
    for product in settings.products:
        if product.keg_size_ul and _is_out(product.keg_size_ul, KEG_UL):
            held = shown_serve(product.keg_size_ul, settings)
            yield (f"products.csv: the keg of {product.product!r} holds {held}, which is hardly a keg; write "
                   "its unit behind the number, such as 50 l.")
    for tap in settings.taps:
        if tap.line_volume_ul and _is_out(tap.line_volume_ul, LINE_UL):
            held = shown_serve(tap.line_volume_ul, settings)
            yield (f"taps.csv: the line of tap {tap.tap!r} holds {held}, which is hardly a line; line_volume "
                   f"is read as {unit}.")


def _is_out(size_ul: int, bounds: tuple[int, int]) -> bool:
    least, most = bounds
    return not least <= size_ul <= most
