"""The demo's week, lived through once for all tests of periods."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from month.venue import copy_of, live_week


@pytest.fixture(scope="session")
def week(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All seven days issued, and October with them. Read it; never change it."""
    return live_week(tmp_path_factory.mktemp("week") / "venue")


@pytest.fixture
def own_week(week: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy to change."""
    yield copy_of(week, tmp_path / "own")
