"""What every column of volumes, counts and money means: said once, printed into the data package.

Each description carries its unit; a percentage names its denominator.
"""

from __future__ import annotations

from unrung.issue.table import Column, choice, count, day, number, text
from unrung.settings import Settings
from unrung.units import UNIT_LABELS

_AT_LEAST_ZERO = {
    "rung": "Portions rung: matched_portion + rung_not_poured + rung_not_compared.",
    "matched_portion": "Set portions of the ring units that found their serve.",
    "over_portion": "Metered above the set portion, over matched serves.",
    "under_portion": "Metered below the set portion, over matched serves.",
    "logged": "Metered volume that log entries and keg changes explain.",
    "poured_not_rung": "Metered volume for which no ring was found.",
    "poured_not_rung_low": "Low end of the plausible range of poured_not_rung (90 %).",
    "poured_not_rung_high": "High end of the plausible range of poured_not_rung (90 %).",
    "voided_after_pour": "Part of poured_not_rung whose ring was voided after the pour.",
    "rung_not_poured": "Portions rung for which no pour was found.",
    "poured_not_compared": "Metered volume that could not be compared with rings; never loss.",
    "rung_not_compared": "Portions rung that could not be compared with pours; never loss.",
    "not_beer": "Water, cleaner or gas that passed the meter.",
    "comp_volume": "Part of rung that was given away and rung as such.",
}
_SIGNED = {
    "poured": "All metered volume: matched_portion + portion_difference + logged + poured_not_rung "
    "+ poured_not_compared + not_beer.",
    "size_difference": "Metered less set portion of serves nearer another size than the one rung.",
    "portion_difference": "over_portion - under_portion + size_difference.",
    "variance": "portion_difference + poured_not_rung - rung_not_poured; above 0: more poured than "
    "rung.",
}


def figure_columns(settings: Settings) -> dict[str, Column]:
    """Column by name, for every figure that more than one file may show."""
    label = UNIT_LABELS[settings.venue.volume_unit]
    currency = settings.venue.currency
    columns = [
        *(number(name, f"{said} In {label}.", minimum=0) for name, said in _AT_LEAST_ZERO.items()),
        *(number(name, f"{said} In {label}.") for name, said in _SIGNED.items()),
        *_counts(currency),
        *_worth(currency),
        revision_column(),
    ]
    return {column.name: column for column in columns}


def day_column() -> Column:
    return day("business_day", "Business day, named by the local date on which it starts.")


def outlet_column() -> Column:
    return text("outlet", "Outlet, or pool of outlets whose staff ring for each other.")


def product_column() -> Column:
    return text("product", "Beer in the keg.")


def unit_column(settings: Settings) -> Column:
    return choice("unit", "Unit of every volume in the row.", [settings.venue.volume_unit])


def revision_column() -> Column:
    return count("revision", "1 as first issued; one more each time the day was issued again.")


def _counts(currency: str) -> list[Column]:
    return [
        count("serves", "Serves whose pour ended here, rung or not; a count."),
        number("units_rung", "Units rung; an item of several portions counts in equal shares."),
        number("comp_units", "Part of units_rung that was given away and rung as such."),
        number("net_sales", f"Net sales of the units rung, in {currency}."),
    ]


def _worth(currency: str) -> list[Column]:
    return [
        number(
            "variance_pct", "Variance in percent of the beer compared (poured less not_beer and "
            "poured_not_compared), from exact figures; empty where nothing was compared.",
            required=False,
        ),
        number(
            "variance_cost", f"Variance at the keg's cost, in {currency}, rounded once for this "
            "row; empty where no cost is known.", required=False,
        ),
        number(
            "variance_retail", f"Variance at the net price realised, in {currency}: potential "
            "revenue, not a loss to post; empty where no price is known.", required=False,
        ),
    ]
