"""How much of a beer one of an item takes: by its name, else by the pours that go with its rings."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from statistics import median
from typing import NamedTuple

from unrung.setup.groups import Group
from unrung.setup.meet import Hill, PourFact, RingFact, nearest_pairs
from unrung.setup.proposal import Key
from unrung.setup.sizes import Named
from unrung.units import UNITS_UL

US_PINT = float(UNITS_UL["us_pt"])
IMP_PINT = float(UNITS_UL["imp_pt"])
BY_NAME = "by its name"
_NICE_ML = (100, 125, 150, 200, 250, 300, 330, 400, 500, 568.26125, 750, 1000, 1500, 2000, 3000)


class Portion(NamedTuple):
    """A portion as ``menu.csv`` has it, and what it rests on."""

    number: str
    unit: str
    why: str

    @property
    def volume_ul(self) -> int:
        return round(Fraction(self.number) * UNITS_UL[self.unit])


class Seen(NamedTuple):
    """What pours say of one item: the middle of its densest cluster, and how many stand behind it."""

    amount: float
    count: int


def seen_amounts(
    group: Group, rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill,
    sizes: Mapping[Key, float],
) -> dict[Key, Seen]:
    """Amount of the pours that pair with single units of each item. ``sizes``: amounts known."""
    mine = [ring for ring in rings if Key(ring.item, ring.size) in group.keys]
    expected = {
        index: sizes[key] for index, ring in enumerate(mine)
        if (key := Key(ring.item, ring.size)) in sizes
    }
    amounts: dict[Key, list[float]] = defaultdict(list)
    for ring, pour in nearest_pairs(mine, pours, hill, expected):
        if mine[ring].units == 1:
            amounts[Key(mine[ring].item, mine[ring].size)].append(pours[pour].amount)
    return {key: densest(found) for key, found in amounts.items()}


def densest(amounts: Sequence[float]) -> Seen:
    """The middle of the 8 % wide span that holds the most amounts.

    >>> densest([470, 475, 480, 300, 900])
    Seen(amount=475, count=3)
    """
    ordered = sorted(amounts)
    best: list[float] = []
    for index, low in enumerate(ordered):
        inside = [one for one in ordered[index:] if one <= low * 1.08]
        if len(inside) > len(best):
            best = inside
    return Seen(median(best), len(best))


def pint_ul(named: Mapping[Key, Named], seen: Mapping[Key, Seen], imperial: bool) -> tuple[float, str]:
    """A pint's microlitres: the one that the pours of pints are nearer to, else the country's."""
    ratios = [
        seen[key].amount / float(one.pints) for key, one in named.items()
        if one.pints and key in seen and seen[key].count >= 5
    ]
    if ratios:
        middle = median(ratios)
        best = min((US_PINT, IMP_PINT), key=lambda pint: abs(middle / pint - 1))
        if abs(middle / best - 1) < 0.08:
            return best, "its pours are of that size"
    return (IMP_PINT if imperial else US_PINT), "the country's pint"


def portion_of(
    one: Named, seen: Seen | None, pint: float, metric: bool, imperial: bool
) -> Portion | None:
    """The portion to set; None where neither the name nor the pours tell."""
    if one.volume_ul is not None:
        return _named(one, imperial and not metric)
    if one.pints is not None:
        if pint == IMP_PINT:
            return Portion(_decimal(one.pints), "imp_pt", BY_NAME)
        return Portion(_decimal(one.pints * 16), "us_fl_oz", BY_NAME)
    if seen is None or seen.count < 2:
        return None
    return snapped(seen, metric, imperial)


def snapped(seen: Seen, metric: bool, imperial: bool) -> Portion:
    """A measured amount as the round size that it is of, where one is within 3 %."""
    why = f"by {seen.count} pours of about {seen.amount / 1000:.0f} mL"
    if imperial:
        for part in (Fraction(1, 3), Fraction(1, 2), Fraction(2, 3), Fraction(1), Fraction(2), Fraction(4)):
            if abs(seen.amount / (float(part) * IMP_PINT) - 1) < 0.03 and part.denominator != 3:
                return Portion(_decimal(part), "imp_pt", why)
    if metric or imperial:
        nice = min(_NICE_ML, key=lambda size: abs(seen.amount / (size * 1000) - 1))
        if abs(seen.amount / (nice * 1000) - 1) < 0.03:
            return Portion(f"{nice:g}", "ml", why)
        return Portion(f"{round(seen.amount / 5000) * 5}", "ml", why)
    ounces = seen.amount / float(UNITS_UL["us_fl_oz"])
    whole = max(1, round(ounces))
    near = abs(ounces / whole - 1) < 0.03
    return Portion(str(whole) if near else f"{round(ounces, 1):g}", "us_fl_oz", why)


def agreed(alike: Sequence[tuple[Key, Portion]]) -> dict[Key, Portion]:
    """One word means one size at a bar: those a little beside what most beers say are brought to it.

    What makes them differ (a meter, a habit of the hand) is for the findings, not for the menu.
    """
    counts = Counter((portion.number, portion.unit) for _, portion in alike)
    if not alike or 2 * counts.most_common(1)[0][1] <= len(alike):
        return {}
    number, unit = counts.most_common(1)[0][0]
    usual = Portion(number, unit, "as of the other beers")
    return {
        key: usual for key, portion in alike
        if (portion.number, portion.unit) != (number, unit)
        and abs(portion.volume_ul / usual.volume_ul - 1) < 0.06
    }


def _named(one: Named, imperial: bool) -> Portion:
    assert one.volume_ul is not None
    volume = Fraction(one.volume_ul)
    ounces = volume / UNITS_UL["us_fl_oz"]
    if "oz" in one.word or "ounce" in one.word:
        number = Fraction(round(ounces * 100), 100)
        return Portion(_decimal(number), "imp_fl_oz" if imperial else "us_fl_oz", BY_NAME)
    return Portion(f"{Decimal(one.volume_ul).scaleb(-3).normalize():f}", "ml", BY_NAME)


def _decimal(number: Fraction) -> str:
    """>>> _decimal(Fraction(1, 2)), _decimal(Fraction(16))
    ('0.5', '16')
    """
    return f"{round(float(number), 4):g}"
