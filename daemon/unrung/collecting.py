"""How often Python looks for circles of objects that nothing else holds."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

SELDOM = (500_000, 20, 50)
"""A few weeks' facts are a quarter of a million objects, none of which is in a circle."""


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Within it (or in a function that it decorates) the collector looks seldom: rows and records hold no
    circles and go as soon as nothing holds them, and looking through hundreds of thousands of them again
    and again takes a tenth of the time. What it leaves is not looked through either, before somebody comes
    here once more: mostly the process ends."""
    before = gc.get_threshold()
    gc.unfreeze()
    gc.set_threshold(*SELDOM)
    try:
        yield
    finally:
        gc.freeze()
        gc.set_threshold(*before)
