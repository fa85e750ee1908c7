"""What every test may rely on, and what is said at the end of what could not be checked."""

from __future__ import annotations

import gc
import os
import shutil
from collections import Counter
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "checkout",
    deadline=None,
    derandomize=True,
    max_examples=100,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("checkout")
"""The same examples on every machine: a failure is about the change, not about luck."""
MEMORY, ROOM_BYTES = Path("/dev/shm"), 4 << 30


def pytest_configure(config: Any) -> None:
    """Folders of tests lie in memory where there is plenty and programs may be run from it: real files, but
    thousands of flushes wait for no disk."""
    if hasattr(os, "statvfs") and os.access(MEMORY, os.W_OK) \
            and shutil.disk_usage(MEMORY).free >= ROOM_BYTES and not os.statvfs(MEMORY).f_flag & os.ST_NOEXEC:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Nothing that tests are found in becomes garbage: to look for circles meanwhile takes a sixth of it, and
    to look through all of it again takes each process two seconds at its end, and some on its way."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Name and count every check that could not run here: left out is not passed."""
    reasons = Counter(_reason(report) for report in terminalreporter.stats.get("skipped", ()))
    if not reasons:
        return
    terminalreporter.section(f"NOT CHECKED HERE: {sum(reasons.values())}")
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"{count} x {reason}")


def _reason(report: Any) -> str:
    said = report.longrepr[-1] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return str(said).removeprefix("Skipped: ")
