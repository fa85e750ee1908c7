"""What is taken where nothing is set, in each unit that a venue may count in (common practice, no source)."""

from __future__ import annotations

from decimal import Decimal

LEAST_LOSS = {
    "us_fl_oz": Decimal(64), "us_gal": Decimal("0.5"), "imp_fl_oz": Decimal(64), "imp_pt": Decimal("3.5"),
    "ml": Decimal(2000), "l": Decimal(2),
}
"""Below this a product's day raises no alert."""
KEG_CHANGE_LOSS = {
    "us_fl_oz": Decimal(16), "us_gal": Decimal("0.125"), "imp_fl_oz": Decimal(16), "imp_pt": Decimal("0.8"),
    "ml": Decimal(500), "l": Decimal("0.5"),
}
"""Beer that a keg going on may cost, once per keg."""
