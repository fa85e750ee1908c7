"""The rates of ``rates.toml`` and the random streams that use them."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from unrung.units import UNITS_UL

RATES: dict[str, Any] = tomllib.loads(
    Path(__file__).with_name("rates.toml").read_text(encoding="utf-8")
)
OZ = float(UNITS_UL["us_fl_oz"])
"""Microlitres in a US fluid ounce."""
STREAMS = ("venue", "trade", "serving", "extras", "losses", "kegs", "till", "clock", "log")
"""Each part of the bar draws from a stream of its own, so that switching a loss on leaves all
else as it was: a stronger loss holds every event of a weaker one."""


def stream(seed: int, name: str, day: int = 0) -> np.random.Generator:
    """The generator of one part of the bar on one day (0: of the whole month)."""
    return np.random.default_rng([seed, STREAMS.index(name), day])


def log_normal(median: float, sigma: float, z: float) -> float:
    """The value at ``z`` standard deviations of a log-normal with that median."""
    return median * math.exp(sigma * z)


def between(span: Sequence[float], u: float) -> float:
    """The point at share ``u`` of a span."""
    return span[0] + (span[1] - span[0]) * u


def pick(weights: Sequence[float], u: float) -> int:
    """The index at share ``u`` of the summed weights."""
    left = u * sum(weights)
    for index, weight in enumerate(weights):
        left -= weight
        if left < 0:
            return index
    return len(weights) - 1
