"""The clock and the lag, learnt from a day's rows."""

from __future__ import annotations

import pytest

from matching.days import NOON_MS, busy_day, lone_ul, matched, pairs
from unrung.matching.types import RingUnit


def share_right(found: dict[int, int], rings: list[RingUnit]) -> float:
    """Rings of like glasses of one round are one another's equals."""
    like = {r.key: (r.check, r.product, r.portion_ul) for r in rings}
    return sum(like.get(found.get(r.key, -1)) == like[r.key] for r in rings) / len(rings)


@pytest.mark.parametrize("offset_s", [-2_400.0, -600.0, -90.0, 0.0, 40.0, 400.0, 3_600.0])
def test_the_offset_is_found_within_seconds(offset_s: float) -> None:
    pours, rings = busy_day(11, 160, lag_s=offset_s)
    result = matched(pours, rings)
    # Of a round, all but the last glass were poured some seconds before the round's end.
    assert offset_s < result.clock.offset_ms / 1_000 < offset_s + 20
    assert result.clock.jump_at_ms is None
    assert result.clock.pairs > 0.9 * len(rings)
    assert 0 < result.clock.doubt_ms < 10_000


def test_where_rounds_are_rung_long_before_or_long_after_their_pours_their_middle_is_in_doubt() -> None:
    """Every other check is rung four minutes earlier, the others four minutes later."""
    pours, rings = busy_day(11, 160, lag_s=0)
    checks = sorted({ring.check for ring in rings})
    early = set(checks[::2])
    apart = [r._replace(at_ms=r.at_ms + (-240_000 if r.check in early else 240_000)) for r in rings]
    assert matched(pours, apart).clock.doubt_ms > 400_000
    assert matched(pours, rings).clock.doubt_ms < 10_000


@pytest.mark.parametrize("jump_s", [-3_600, -300, 240, 3_600])
def test_a_jump_within_the_day_is_found_and_told(jump_s: int) -> None:
    pours, rings = busy_day(12, 200, hours=8)
    at = NOON_MS + 4 * 3_600_000
    moved = [r._replace(at_ms=r.at_ms + 1_000 * jump_s) if r.at_ms >= at else r for r in rings]
    if jump_s < 0:  # Rows of both clocks overlap on the till's own time line.
        moved = [r for r in moved if not at + 1_000 * jump_s - 60_000 <= r.at_ms < at]
        gone = {r.key for r in rings} - {r.key for r in moved}
        pours = [p for p in pours if p.key not in gone]
    result = matched(pours, moved)
    assert result.clock.jump_at_ms is not None
    assert abs(result.clock.jump_ms - 1_000 * jump_s) < 15_000
    assert abs(result.clock.jump_at_ms - at) < 1_200_000 + 1_000 * abs(jump_s)
    assert share_right(pairs(result), moved) > 0.85


@pytest.mark.parametrize("seed", range(8))
def test_a_steady_clock_is_said_to_be_steady(seed: int) -> None:
    assert matched(*busy_day(seed, 120)).clock.jump_at_ms is None


def test_totals_hold_where_every_pour_was_rung() -> None:
    pours, rings = busy_day(13, 200, unrung=0.0)
    result = matched(pours, rings)
    assert sum(lone_ul(result).values()) < 0.003 * sum(p.volume_ul for p in pours)
    assert share_right(pairs(result), rings) > 0.9
