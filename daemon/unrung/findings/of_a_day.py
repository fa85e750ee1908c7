"""What findings take from one day, whatever the other days hold: made once a day, by numbers within it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from functools import partial
from itertools import accumulate, compress
from typing import NamedTuple

from unrung.findings import pieces
from unrung.ledger.facts import DayFacts


class Columns(NamedTuple):
    """The day's serves field by field: a loop over some of them reads no more than it needs."""

    outlet: Sequence[str]
    product: Sequence[str]
    tap: Sequence[str]
    start_ms: Sequence[int]
    end_ms: Sequence[int]
    volume_ul: Sequence[int]
    parts: Sequence[tuple[tuple[int, int, int], ...]]
    portion_ul: Sequence[int]
    item: Sequence[str]
    size: Sequence[str]
    ring_ms: Sequence[int]
    voided: Sequence[bool]
    comp: Sequence[bool]
    uncertain: Sequence[bool]
    other_size: Sequence[bool]
    left_ul: Sequence[int]
    not_compared_ul: Sequence[int]
    reason: Sequence[str]
    paired: Sequence[bool]


def columns(day: DayFacts) -> Columns:
    return day.once("named columns", None, partial(_columns, day))


def _columns(day: DayFacts) -> Columns:
    own = Columns._make([*day.columns(), ()])
    answered = zip(own.portion_ul, own.voided, strict=True)
    return own._replace(paired=[portion_ul > 0 and not voided for portion_ul, voided in answered])


def by_tap(day: DayFacts) -> dict[str, list[int]]:
    """Numbers of each tap's serves within the day."""
    found: dict[str, list[int]] = defaultdict(list)
    for number, tap in enumerate(columns(day).tap):
        found[tap].append(number)
    return found


def served(day: DayFacts) -> Counter[str]:
    return Counter(columns(day).outlet)


def paired(day: DayFacts) -> Counter[str]:
    return Counter(compress(columns(day).outlet, columns(day).paired))


def beside(day: DayFacts) -> dict[str, pieces.Beside]:
    """What a day's lone small flows stand beside, by tap."""
    alone: dict[str, list[int]] = defaultdict(list)
    own = columns(day)
    for number in day.once("leaving", None, partial(leaving, day)):
        if own.left_ul[number] == own.volume_ul[number]:
            alone[own.tap[number]].append(number)
    taps = day.once("by tap", None, partial(by_tap, day))
    return {tap: pieces.beside(day.serves, taps[tap], numbers) for tap, numbers in sorted(alone.items())}


def poured(day: DayFacts) -> dict[tuple[str, str], tuple[list[int], list[int]]]:
    """Per outlet and product: ends of a day's serves, and the volume up to each of them."""
    found: dict[tuple[str, str], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    own = columns(day)
    for place, end_ms, volume_ul in zip(
        zip(own.outlet, own.product, strict=True), own.end_ms, own.volume_ul, strict=True
    ):
        ends, volumes = found[place]
        ends.append(end_ms)
        volumes.append(volume_ul)
    return {place: (ends, list(accumulate(volumes))) for place, (ends, volumes) in found.items()}


def leaving(day: DayFacts) -> list[int]:
    return [number for number, left_ul in enumerate(columns(day).left_ul) if left_ul > 0]


def without_ring(day: DayFacts) -> list[int]:
    """Of those ``leaving``, the ones that no ring answers."""
    answered = columns(day).paired
    return [number for number in day.once("leaving", None, partial(leaving, day)) if not answered[number]]
