"""Which rings and which taps go together: by what happens at the same moments, beyond chance.

A ring follows its pour, or leads it, by a habit of the bar that the two exports show: the lags
between all rings and all pours are flat but for a hill. What share of an item's rings have a pour of
a tap within that hill, less the share that has one a while earlier or later, is the share that the
tap serves: chance has been taken off.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import NamedTuple

STEP_MS = 10_000
"""Width of the bins in which lags are counted."""
REACH_MS = 45 * 60_000
_QUARTER_MS = 15 * 60_000
_SHIFTS_MS = tuple(minutes * 60_000 for minutes in (-40, -30, -22, -15, 15, 22, 30, 40))
"""Where chance is measured: far enough from the hill, near enough to be as busy."""


class RingFact(NamedTuple):
    """One unit sold (or a line of several): when, in which outlet, what."""

    at_ms: int
    outlet: str
    item: str
    size: str
    units: float
    check: str


class PourFact(NamedTuple):
    """One metered flow; ``amount`` in microlitres, or in pulses where the factor is not known."""

    tap: str
    end_ms: int
    amount: float


@dataclass(frozen=True, slots=True)
class Hill:
    """The lags, ring less end of pour, that are of one sale more often than by chance."""

    centre_ms: int
    low_ms: int
    high_ms: int
    excess: float
    """Height of the hill's top over the flat, in standard deviations."""

    def around(self, at_ms: int) -> tuple[int, int]:
        """First and last end of a pour that a ring at ``at_ms`` is likely of."""
        return at_ms - self.high_ms, at_ms - self.low_ms


def learn_hill(rings: Sequence[int], pours: Sequence[int]) -> Hill | None:
    """The hill in the lags between sorted times of rings and pours; None where there is none."""
    counts = _lags(rings, pours, REACH_MS)
    bins = range(-REACH_MS // STEP_MS, REACH_MS // STEP_MS)
    smooth = {at: sum(counts[at + n] for n in (-2, -1, 0, 1, 2)) / 5 for at in bins}
    flat = sorted(smooth.values())[len(smooth) // 2]
    top = max(smooth, key=lambda at: (smooth[at], -abs(at)))
    excess = (smooth[top] - flat) / sqrt(max(flat, 1.0) / 5)
    if excess < 5:
        return None
    edge = flat + 0.2 * (smooth[top] - flat)
    low = high = top
    while low - 1 in smooth and smooth[low - 1] > edge and top - low < 24:
        low -= 1
    while high + 1 in smooth and smooth[high + 1] > edge and high - top < 24:
        high += 1
    return Hill(top * STEP_MS, low * STEP_MS - STEP_MS, high * STEP_MS + 2 * STEP_MS, excess)


def quarter_shift(rings: Sequence[int], pours: Sequence[int]) -> int:
    """By how many quarter hours the till's clock seems ahead of the meters'; 0 where none stands out.

    A whole number of hours or quarters apart means that one of the two was read in another zone.
    """
    reach = 15 * 3_600_000
    counts = _lags(rings[:: max(1, len(rings) // 1500)], pours, reach)
    fine = {at: counts[at] + counts[at + 1] + counts[at - 1] for at in counts}
    if not fine:
        return 0
    top = max(fine, key=lambda at: (fine[at], -abs(at)))
    shift = round(top * STEP_MS / _QUARTER_MS)
    near = top * STEP_MS - shift * _QUARTER_MS
    local = [fine.get(at, 0) for at in range(top - 150, top + 150) if abs(at - top) > 20]
    flat = sum(local) / max(len(local), 1)
    stands_out = (fine[top] - flat) / sqrt(max(flat, 1.0)) > 6
    return shift if stands_out and abs(near) < 6 * 60_000 else 0


@dataclass(frozen=True, slots=True)
class Share:
    """A share above chance with what it is at the least."""

    lift: float
    least: float
    count: int

    @property
    def most(self) -> float:
        return 2 * self.lift - self.least


def lifted(ats: Iterable[int], ends: Sequence[int], low_ms: int, high_ms: int) -> Share:
    """Share of the moments ``ats`` with one of the sorted ``ends`` in [at + low, at + high], beyond
    the share that chance gives."""
    moments = list(ats)
    if not moments:
        return Share(0.0, 0.0, 0)
    hit = _hits(moments, ends, low_ms, high_ms) / len(moments)
    chance = sum(
        _hits(moments, ends, low_ms + shift, high_ms + shift) for shift in _SHIFTS_MS
    ) / (len(moments) * len(_SHIFTS_MS))
    chance = min(chance, 0.98)
    lift = (hit - chance) / (1 - chance)
    error = sqrt((hit * (1 - hit) + 0.25 / len(moments)) / len(moments)) / (1 - chance)
    return Share(lift, lift - 1.5 * error, len(moments))


def nearest_pairs(
    rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill,
    expected: Mapping[int, float] | None = None, tolerance: float = 0.18,
) -> list[tuple[int, int]]:
    """(ring index, pour index) one to one, the nearest to the hill's centre first.

    ``expected``: amount of each ring by index where known; it then takes no pour that is off by more
    than ``tolerance`` (a share), and the likest of several.
    """
    order = sorted(range(len(pours)), key=lambda at: pours[at].end_ms)
    ends = [pours[at].end_ms for at in order]
    slack = 2 * (hill.high_ms - hill.low_ms) + 60_000
    candidates = []
    for index, ring in enumerate(rings):
        lo = bisect_left(ends, ring.at_ms - hill.high_ms - slack)
        hi = bisect_right(ends, ring.at_ms - hill.low_ms + slack)
        for place in range(lo, hi):
            pour = order[place]
            far = abs(ring.at_ms - ends[place] - hill.centre_ms) / 60_000
            want = (expected or {}).get(index)
            off = abs(pours[pour].amount / want - 1) if want else 0.0
            if off < tolerance:
                candidates.append((far + 3.6 * off / tolerance, index, pour))
    taken_rings: Counter[int] = Counter()
    taken_pours: set[int] = set()
    pairs = []
    for _, index, pour in sorted(candidates):
        if pour not in taken_pours and taken_rings[index] < max(1, round(rings[index].units)):
            pairs.append((index, pour))
            taken_pours.add(pour)
            taken_rings[index] += 1
    return pairs


def _lags(rings: Sequence[int], pours: Sequence[int], reach_ms: int) -> Counter[int]:
    counts: Counter[int] = Counter()
    for at in rings:
        lo, hi = bisect_left(pours, at - reach_ms), bisect_right(pours, at + reach_ms)
        counts.update((at - end) // STEP_MS for end in pours[lo:hi])
    return counts


def _hits(moments: Sequence[int], ends: Sequence[int], low_ms: int, high_ms: int) -> int:
    return sum(bisect_right(ends, at + high_ms) > bisect_left(ends, at + low_ms) for at in moments)


def serves_only(pours: Sequence[PourFact]) -> list[PourFact]:
    """Without drips, leaks and tasters."""
    least = least_serve([pour.amount for pour in pours])
    return [pour for pour in pours if pour.amount >= least]


def least_serve(amounts: Sequence[float]) -> float:
    """A fifth or so of the usual serve: what is below is a drip, a leak or a taster."""
    return 0.22 * usual_serve(amounts)


def usual_serve(amounts: Sequence[float]) -> float:
    """The middle by volume: a leak of a thousand drops weighs no more than its beer. Where a fifth of all is
    in pours of a twelfth to half of that (glasses, where much of the beer goes into pitchers), of those.

    >>> usual_serve([8.0] * 1000 + [470.0] * 30), usual_serve([1800.0] * 30 + [470.0] * 30 + [300.0] * 30)
    (470.0, 470.0)
    """
    usual, least = middle_by_volume(amounts), 0.2 * sum(amounts)
    while sum(small := [amount for amount in amounts if usual / 12 <= amount < usual / 2]) > least:
        usual = middle_by_volume(small)
    return usual


def middle_by_volume(amounts: Sequence[float]) -> float:
    """The amount below which half of the whole volume flowed; 0 where nothing did.

    >>> middle_by_volume([0.3] * 1000 + [470.0] * 30)
    470.0
    """
    half, passed = sum(amounts) / 2, 0.0
    for amount in sorted(amounts):
        passed += amount
        if passed >= half:
            return amount
    return 0.0
