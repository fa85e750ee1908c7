"""Repeatable chance. Only ``Random.random`` is used, whose sequence Python promises to keep."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from typing import TypeVar

T = TypeVar("T")


class Dice:
    def __init__(self, seed: int) -> None:
        self._random = Random(seed)

    def share(self) -> float:
        return self._random.random()

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self.share()

    def whole(self, low: int, high: int) -> int:
        """Both ends included."""
        return low + int(self.share() * (high - low + 1))

    def hand(self, bound: float = 0.03) -> float:
        """How far a practised hand is off, as a share: bell-shaped, never beyond ``bound``."""
        return bound * (sum(self.share() for _ in range(6)) / 3 - 1)

    def pick(self, choices: Sequence[tuple[T, float]]) -> T:
        """One of (choice, weight)."""
        left = self.share() * sum(weight for _, weight in choices)
        for choice, weight in choices:
            left -= weight
            if left < 0:
                return choice
        return choices[-1][0]
