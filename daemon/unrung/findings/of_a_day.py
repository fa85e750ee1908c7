"""What findings take from one day, whatever the other days hold: made once a day, by numbers within it."""

from __future__ import annotations

from collections import Counter, defaultdict
from functools import partial

from unrung.findings import pieces
from unrung.ledger.facts import DayFacts


def by_tap(day: DayFacts) -> dict[str, list[int]]:
    """Numbers of each tap's serves within the day."""
    found: dict[str, list[int]] = defaultdict(list)
    for number, serve in enumerate(day.serves):
        found[serve.tap].append(number)
    return found


def served(day: DayFacts) -> Counter[str]:
    return Counter(serve.outlet for serve in day.serves)


def paired(day: DayFacts) -> Counter[str]:
    return Counter(serve.outlet for serve in day.serves if serve.paired)


def beside(day: DayFacts) -> dict[str, pieces.Beside]:
    """What a day's lone small flows stand beside, by tap."""
    alone: dict[str, list[int]] = defaultdict(list)
    for number, serve in enumerate(day.serves):
        if 0 < serve.left_ul == serve.volume_ul:
            alone[serve.tap].append(number)
    taps = day.once("by tap", None, partial(by_tap, day))
    return {tap: pieces.beside(day.serves, taps[tap], numbers) for tap, numbers in sorted(alone.items())}


def poured(day: DayFacts) -> dict[tuple[str, str], tuple[list[int], list[int]]]:
    """Per outlet and product: ends of a day's serves, and the volume up to each of them."""
    found: dict[tuple[str, str], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for serve in day.serves:
        ends, sums = found[serve.outlet, serve.product]
        ends.append(serve.end_ms)
        sums.append((sums[-1] if sums else 0) + serve.volume_ul)
    return found


def leaving(day: DayFacts) -> list[int]:
    return [number for number, serve in enumerate(day.serves) if serve.left_ul > 0]
