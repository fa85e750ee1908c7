"""How much of a beer one of an item takes: by its name, else by the pours that go with its rings."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from unrung.setup.groups import Group
from unrung.setup.meet import Hill, PourFact, RingFact, nearest_pairs
from unrung.setup.proposal import Key, Place
from unrung.setup.sizes import Named
from unrung.units import UNIT_LABELS, UNITS_UL

US_PINT = float(UNITS_UL["us_pt"])
IMP_PINT = float(UNITS_UL["imp_pt"])
METRIC_PINT = 570_000.0
BY_NAME = "by its name"
_NICE_OZ = (4, 5, 6, 8, 10, 12, 14, 16, 20, 22, 24, 25, 32, 48, 60, 64, 72, 128)
_NICE_ML = (100, 125, 150, 200, 250, 300, 330, 400, 500, 568.26125, 750, 1000, 1500, 2000, 3000)


class Portion(NamedTuple):
    """A portion as ``menu.csv`` has it, and what it rests on."""

    number: str
    unit: str
    why: str
    seldom: bool = False
    """Whether it rests on a handful of pours."""

    @property
    def volume_ul(self) -> int:
        return round(Fraction(self.number) * UNITS_UL[self.unit])

    @property
    def shown(self) -> str:
        """For people: "16 fl oz"."""
        return f"{self.number} {UNIT_LABELS[self.unit]}"


class Seen(NamedTuple):
    """What pours say of one item: the middle of its densest cluster, and how many stand behind it."""

    amount: float
    pours: int


def seen_amounts(
    group: Group, rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill,
    sizes: Mapping[Key, float], hints: Mapping[Key, float] | None = None,
) -> dict[Key, Seen]:
    """Amount of the pours that pair with single units of each item.

    ``sizes``: amounts known; their rings choose first, and only pours of about that amount, so that
    the rest is left to the others. ``hints``: about how much an item takes, by its price.
    """
    mine = [ring for ring in rings if Key(ring.item, ring.size) in group.keys]
    return seen_beside(mine, pours, hill, sizes, hints or {})


def seen_beside(
    mine: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill, sizes: Mapping[Key, float],
    hints: Mapping[Key, float],
) -> dict[Key, Seen]:
    """What ``seen_amounts`` does, for the rings and the pours of one beer."""
    known = [ring for ring in mine if Key(ring.item, ring.size) in sizes]
    expected = {at: sizes[Key(ring.item, ring.size)] for at, ring in enumerate(known)}
    amounts: dict[Key, list[float]] = defaultdict(list)
    first = nearest_pairs(known, pours, hill, expected)
    _collect(known, pours, first, amounts)
    taken = {pour for _, pour in first}
    others = [ring for ring in mine if Key(ring.item, ring.size) not in sizes]
    left = [pour for at, pour in enumerate(pours) if at not in taken]
    left += in_two_goes(left)
    about = {at: hints[key] for at, ring in enumerate(others) if (key := Key(ring.item, ring.size)) in hints}
    _collect(others, left, nearest_pairs(others, left, hill, about, tolerance=0.6), amounts)
    return {key: densest(found) for key, found in amounts.items()}


def in_two_goes(pours: Sequence[PourFact]) -> list[PourFact]:
    """Two pours in a row at one tap, less than a minute or so apart, as one: a pitcher is often
    filled so."""
    by_tap: dict[str, list[PourFact]] = defaultdict(list)
    for pour in sorted(pours, key=lambda one: one.end_ms):
        by_tap[pour.tap].append(pour)
    return [
        later._replace(amount=earlier.amount + later.amount)
        for mine in by_tap.values() for earlier, later in pairwise(mine)
        if later.end_ms - earlier.end_ms < 75_000
    ]


def _collect(
    rings: Sequence[RingFact], pours: Sequence[PourFact], pairs: Sequence[tuple[int, int]],
    amounts: dict[Key, list[float]],
) -> None:
    for ring, pour in pairs:
        if rings[ring].units == 1:
            amounts[Key(rings[ring].item, rings[ring].size)].append(pours[pour].amount)


def densest(amounts: Sequence[float]) -> Seen:
    """The middle of the 8 % wide span that holds the most amounts.

    >>> densest([470, 475, 480, 300, 900])
    Seen(amount=475, pours=3)
    """
    ordered = sorted(amounts)
    best: list[float] = []
    for index, low in enumerate(ordered):
        inside = [one for one in ordered[index:] if one <= low * 1.08]
        if len(inside) > len(best):
            best = inside
    return Seen(median(best), len(best))


def country_pint(place: Place) -> float:
    """Microlitres of a pint where nothing but the country tells it."""
    return METRIC_PINT if place.metric_pint else IMP_PINT if place.imperial else US_PINT


def pint_ul(named: Mapping[Key, Named], seen: Mapping[Key, Seen], place: Place) -> float:
    """A pint's microlitres: the one that the pours of pints are nearer to, else the country's."""
    ratios = [
        seen[key].amount / float(one.pints) for key, one in named.items()
        if one.pints and key in seen and seen[key].pours >= 5
    ]
    if ratios:
        middle = median(ratios)
        large = METRIC_PINT if place.metric_pint else IMP_PINT  # 0.3 % apart: no meter tells them
        best = min((US_PINT, large), key=lambda pint: abs(middle / pint - 1))
        if abs(middle / best - 1) < 0.08:
            return best
    return country_pint(place)


def portion_of(
    one: Named, seen: Seen | None, pint: float, metric: bool, imperial: bool, over: float = 1.0
) -> Portion | None:
    """The portion to set; None where neither the name nor the pours tell. ``over``: see ``snapped``."""
    if one.volume_ul is not None:
        return _named(one, imperial and not metric)
    if one.pints is not None:
        if one.pints.denominator == 3 or pint == METRIC_PINT:
            return Portion(f"{round(float(one.pints) * pint / 1000, 3):.10g}", "ml", BY_NAME)
        if pint == IMP_PINT:
            return Portion(_decimal(one.pints), "imp_pt", BY_NAME)
        return Portion(_decimal(one.pints * 16), "us_fl_oz", BY_NAME)
    if seen is None or seen.pours < 2:
        return None
    return snapped(seen, metric, imperial, over)


def snapped(seen: Seen, metric: bool, imperial: bool, over: float = 1.0) -> Portion:
    """A measured amount as the round size that it is of, where one is within 3 %; ``over``: what the beer's
    other sizes hold, as a share of what they should."""
    why = f"by {seen.pours} pours of about {seen.amount / 1000:.0f} mL"
    if abs(over - 1) >= 0.005:
        way = "over" if over > 1 else "under"
        why += f", taken to be {abs(over - 1):.0%} {way} as its other sizes are"
    return _round_size(seen.amount / over, metric, imperial)._replace(why=why, seldom=seen.pours < 5)


def _round_size(amount: float, metric: bool, imperial: bool) -> Portion:
    if imperial:
        for part in (Fraction(1, 3), Fraction(1, 2), Fraction(2, 3), Fraction(1), Fraction(2), Fraction(4)):
            if abs(amount / (float(part) * IMP_PINT) - 1) < 0.03 and part.denominator != 3:
                return Portion(_decimal(part), "imp_pt", "")
    if metric or imperial:
        nice = min(_NICE_ML, key=lambda size: abs(amount / (size * 1000) - 1))
        if abs(amount / (nice * 1000) - 1) < 0.03:
            return Portion(f"{nice:g}", "ml", "")
        return Portion(f"{round(amount / 5000) * 5}", "ml", "")
    ounces = amount / float(UNITS_UL["us_fl_oz"])
    for whole in (min(_NICE_OZ, key=lambda size: abs(ounces / size - 1)), max(1, round(ounces))):
        if abs(ounces / whole - 1) < 0.03:
            return Portion(str(whole), "us_fl_oz", "")
    return Portion(f"{round(ounces, 1):g}", "us_fl_oz", "")


def agreed(
    alike: Sequence[tuple[Key, Portion]], *, most: bool = True, within: float = 0.08
) -> dict[Key, Portion]:
    """One word means one size at a bar: those a little beside (``within``) what most beers say are
    brought to it (without ``most``: beside the most usual, the roundest of several).

    What makes them differ (a meter, a habit of the hand) is for the findings, not for the menu.
    """
    usual = usual_of(alike, most=most)
    if usual is None:
        return {}
    return {
        key: usual for key, portion in alike
        if (portion.number, portion.unit) != (usual.number, usual.unit)
        and abs(portion.volume_ul / usual.volume_ul - 1) < within
    }


def usual_of(alike: Sequence[tuple[Key, Portion]], *, most: bool = True) -> Portion | None:
    """The portion that most of these items take; without ``most`` the most usual one."""
    counts = Counter((portion.number, portion.unit) for _, portion in alike)
    if not alike or (most and 2 * counts.most_common(1)[0][1] <= len(alike)):
        return None
    number, unit = min(counts, key=lambda size: (-counts[size], len(size[0]), size))
    return Portion(number, unit, "as of the other beers")


def _named(one: Named, imperial: bool) -> Portion:
    assert one.volume_ul is not None
    volume = Fraction(one.volume_ul)
    ounces = volume / UNITS_UL["us_fl_oz"]
    if "oz" in one.word or "ounce" in one.word:
        number = Fraction(round(ounces * 100), 100)
        return Portion(_decimal(number), "imp_fl_oz" if imperial else "us_fl_oz", BY_NAME)
    return Portion(f"{Decimal(one.volume_ul).scaleb(-3).normalize():f}", "ml", BY_NAME)


def _decimal(number: Fraction) -> str:
    """A number as the tables have it.

    >>> _decimal(Fraction(1, 2)), _decimal(Fraction(16))
    ('0.5', '16')
    """
    return f"{round(float(number), 4):g}"
