from __future__ import annotations

import time
from datetime import date
from pathlib import Path

import pytest

from unrung.errors import UnrungError
from unrung.opening import open_venue
from unrung.reissuing import reissue_day
from venue_folder import make_venue


def test_a_day_that_is_unknown_or_not_over_is_not_issued(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")
    now_ms = time.time_ns() // 1_000_000
    settings, db = open_venue(venue.path, now_ms)
    with pytest.raises(UnrungError, match="nothing is known of 2020-01-01"):
        reissue_day(db, settings, date(2020, 1, 1), now_ms)
    assert not (venue.path / "issued").exists()
