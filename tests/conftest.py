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
HERE = Path(__file__).resolve().parent
MEMORY, ROOM_BYTES = Path("/dev/shm"), 4 << 30
FIRST = (
    "crash/test_points.py", "test_ahead.py", "crash/test_real_kills.py", "test_bootstrap.py",
    "month/test_office.py", "setup/test_run.py", "feeds/test_changed_feeds.py", "test_simulator.py",
    "service/test_stopping.py", "group/test_group.py", "ledger/test_outline.py",
    "setup/test_more_dialects.py", "test_beside.py", "page/test_axe.py",
)
"""Files that take more than ten seconds. Where several processes share the tests, those go first: else one
ends with them while the processors have nothing else to do."""


def pytest_configure(config: Any) -> None:
    """Folders of tests lie in memory where there is plenty and programs may be run from it: real files, but
    thousands of flushes wait for no disk. Files are shared out in the order in which they are found, and not
    by their number of tests, of which the long ones have few (pytest-xdist 3.8; older ones know no order)."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The files that are ``FIRST``, and every other one where it was."""
    assert [name for name in FIRST if not (HERE / name).exists()] == []
    rank = {HERE / name: at for at, name in enumerate(FIRST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))


@pytest.fixture
def one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Days are computed as on a machine with one processor: to start a process for weeks with hardly a row
    takes longer than to compute them."""
    from unrung.ahead import ledgers

    monkeypatch.setattr(ledgers, "processors", lambda: 1)


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
