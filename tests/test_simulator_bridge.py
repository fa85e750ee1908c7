"""A simulated day reaches the matcher whole, and pairs are scored by the truth."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date

import pytest

from simulator import SimMonth, score_pairs, simulate, to_matching, unpaired, whole_units
from simulator.model import RingLine
from unrung.matching.types import Serve

START = date(2026, 10, 28)


@pytest.fixture(scope="module")
def clean() -> SimMonth:
    return simulate(11, days=4, start=START)


@pytest.fixture(scope="module")
def lossy() -> SimMonth:
    return simulate(12, days=5, start=START, losses="all", lag_family="second")


@pytest.fixture(params=["clean", "lossy"])
def month(request: pytest.FixtureRequest) -> Iterator[SimMonth]:
    yield request.getfixturevalue(request.param)


def _line(number: int, micro: int, at_s: int, check: str = "A", item: str = "Lager") -> RingLine:
    return RingLine(
        number, "Bar", "B1", check, item, "16 oz", (("Lager", 473_176),), micro, at_s * 1000,
        at_s * 1000, "sale", None, 800,
    )


@pytest.mark.parametrize(
    ("lines", "portions"),
    [
        ([_line(1, 2_000_000, 0)], [473_176, 473_176]),
        ([_line(1, 500_000, 0), _line(2, 500_000, 200, "B")], [473_176]),
        ([_line(n, m, n) for n, m in ((1, 333_333), (2, 333_333), (3, 333_334))], [473_176]),
        ([_line(n, 333_333, n) for n in (1, 2, 3)], [473_176]),
        ([_line(1, 1_500_000, 0), _line(2, 500_000, 9)], [473_176, 473_176]),
        ([_line(1, 500_000, 0), _line(2, 500_000, 301)], [236_588, 236_588]),
        ([_line(1, 500_000, 0), _line(2, 500_000, 9, item="Ale")], [236_588, 236_588]),
    ],
)
def test_fractions_rung_within_five_minutes_make_whole_units(
    lines: list[RingLine], portions: list[int]
) -> None:
    assert [unit.portion_ul for unit in whole_units(lines)] == portions


def test_the_matchers_input_holds_every_unit_and_every_pour_of_beer_once(clean: SimMonth) -> None:
    found = to_matching(clean, clean.days[2].date, "Main floor")
    keys = [unit.key for unit in found.units]
    lo, hi = found.bounds
    assert len(set(keys)) == len(keys) and len({p.key for p in found.pours}) == len(found.pours)
    own = [u for u in clean.units if u.outlet != "Boathouse" and lo <= u.at_ms < hi]
    rung = [u for u in own if u.why not in ("training",)]
    seen = [u for u in found.units if lo <= u.at_ms < hi]
    assert abs(len(rung) - len(seen)) <= 2  # the till clock's error at the day's edges
    assert set(found.sizes) >= {pour.product for pour in found.pours}


def test_what_a_perfect_matcher_leaves_is_loss_or_written_down_or_beside_a_lost_row(
    month: SimMonth,
) -> None:
    cleaned: Counter[tuple[object, ...]] = Counter()
    days = {day.date: day for day in month.days}
    for pour in month.pours:
        day = next(d.date for d in month.days if pour.end_ms < d.end_ms)
        for part in pour.parts:
            if part.label == "cleaning":
                cleaned[day, month.place[pour.outlet], pour.product] += part.volume_ul
    for (day, pool, product), row in month.truth.rows.items():
        left = unpaired(month, days[day].date, pool).get(product, 0)
        told = row.poured_not_rung + row.logged + row.not_compared
        assert left == told - cleaned[day, pool, product]


def test_true_pairs_score_as_right_and_shifted_ones_do_not(month: SimMonth) -> None:
    units = {unit.id: unit for unit in month.units}
    parts = defaultdict(list)
    for pour in month.pours:
        for part in pour.parts:
            parts[part.serve_id].append((pour.id, part.volume_ul))
    rung = [s for s in month.serves if s.unit_id is not None and not s.cause]
    keys = [units[s.unit_id or 0].lines[0][0] * 4096 + units[s.unit_id or 0].portion for s in rung]
    for shift, low, high in ((0, 1.0, 1.0), (40, 0.0, 0.05)):
        given = [
            Serve(s.product, "", s.start_ms, s.end_ms, s.volume_ul, tuple(parts[s.id]), key)
            for s, key in zip(rung, keys[shift:] + keys[:shift], strict=True)
        ]
        score = score_pairs(month, given)
        assert low <= score.right / score.pairs <= high
