"""Killed at any moment and started again, a night ends as if nothing had been.

Five nights at the test bar, with real files, a real web server and a real mail server. Each night is
lived through once undisturbed, which also counts its moments (``fuse``), and then once for every
moment: killed there by SIGKILL, looked at dead, started again, and compared with the undisturbed one:
tables by content, files by their bytes, each mail as often as it may come. What comes of a night is a
function of what lasts, of the clock and of what the servers say: once it stands exactly where it stood after
an earlier kill, it is not lived to its end again.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from multiprocessing import get_context
from multiprocessing.pool import Pool

import pytest

from crash.lives import moments_of
from crash.nights import NIGHTS, Night

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
PATIENCE_SECONDS = 590.0


@pytest.fixture(scope="module")
def aside() -> Iterator[Pool]:
    """A process of its own for the lives, without what other tests need."""
    with get_context("spawn").Pool(1) as pool:
        yield pool


@pytest.mark.timeout(600)  # some seconds on a machine that is not busy
@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: night.name)
def test_a_night_killed_at_any_moment_ends_the_same_when_started_again(aside: Pool, night: Night) -> None:
    moments = aside.apply_async(moments_of, (night.name,)).get(PATIENCE_SECONDS)
    assert sum(moments.values()) >= night.least, moments


def test_the_moments_are_three_hundred() -> None:
    assert sum(night.least for night in NIGHTS) >= 300
