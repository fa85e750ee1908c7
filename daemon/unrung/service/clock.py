"""The only clocks of the project. Steps are given them, so that a test can bring its own."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NamedTuple


def wall_ms() -> int:
    """Now, UTC milliseconds."""
    return time.time_ns() // 1_000_000


class Clock(NamedTuple):
    """What time it is, and how much of it has passed."""

    wall_ms: Callable[[], int] = wall_ms
    """UTC milliseconds; may jump either way."""
    mono: Callable[[], float] = time.monotonic
    """Seconds since whenever; never goes back."""


REAL = Clock()
