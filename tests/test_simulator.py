"""The simulator's months are physically sound, foot, and hold the losses that were switched on."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from simulator import (
    LOSSES,
    VENUES,
    SimMonth,
    simulate,
    to_matching,
)
from simulator.bridge import WHOLE
from simulator.clock import ClockKind
from simulator.rates import OZ, RATES

AUTUMN = date(2026, 10, 26)
"""Monday of the week in which New York's clocks go back (IANA tzdb: 1 November 2026, 06:00 UTC)."""
SPRING = date(2026, 3, 2)
"""Monday of the week in which they go forward (8 March 2026, 07:00 UTC)."""


@pytest.fixture(scope="module")
def clean() -> SimMonth:
    return simulate(11, days=7, start=AUTUMN)


@pytest.fixture(scope="module")
def lossy() -> SimMonth:
    return simulate(12, days=7, start=AUTUMN, losses="all", lag_family="second")


@pytest.fixture(params=["clean", "lossy"])
def month(request: pytest.FixtureRequest) -> Iterator[SimMonth]:
    yield request.getfixturevalue(request.param)


def test_the_same_seed_gives_the_same_month_and_another_seed_another_one() -> None:
    one, two, other = (simulate(seed, days=2, venue="small", losses="all") for seed in (5, 5, 6))
    assert (one.pours, one.rings, one.log, one.kegs) == (two.pours, two.rings, two.log, two.kegs)
    assert one.truth == two.truth
    assert one.pours != other.pours


def test_no_tap_pours_two_things_at_once(month: SimMonth) -> None:
    by_tap = defaultdict(list)
    for pour in month.pours:
        by_tap[pour.tap].append(pour)
    assert len({faucet for pour in month.pours for faucet in pour.faucets}) == 12
    for pours in by_tap.values():
        pours.sort(key=lambda pour: pour.start_ms)
        assert all(before.end_ms < after.start_ms for before, after in pairwise(pours))


def test_beer_flows_at_about_two_ounces_a_second_and_gas_faster_than_any_beer(
    month: SimMonth,
) -> None:
    """Flow: Brewers Association manual, as quoted in trade pages."""
    flows: dict[str, list[float]] = defaultdict(list)
    for pour in month.pours:
        if len(pour.faucets) == 1:
            seconds = (pour.end_ms - pour.start_ms) / 1000
            flows[pour.label].append(pour.volume_ul / OZ / seconds)
    assert 1.8 < np.median(flows["serve"]) < 2.2
    assert np.quantile(flows["serve"], 0.001) > 1.0 and np.quantile(flows["serve"], 0.999) < 3.0
    assert min(flows["gas"]) > 4.0


def test_poured_foots_in_every_row_and_with_the_meters(month: SimMonth) -> None:
    for row in month.truth.rows.values():
        told = row.matched_portion + sum(row.difference.values()) + row.logged + row.not_beer
        assert row.poured == told + row.not_compared + row.poured_not_rung
        assert row.poured_not_rung == sum(row.by_cause.values())
        assert row.rung_not_poured == sum(row.rung_by_cause.values())
        assert 0 <= row.voided_after_pour <= row.poured_not_rung
    metered = sum(pour.volume_ul for pour in month.pours)
    assert sum(row.poured for row in month.truth.rows.values()) == metered


def test_the_parts_of_a_pour_sum_to_it_and_its_pulses_give_its_volume(month: SimMonth) -> None:
    for pour in month.pours:
        assert sum(part.volume_ul for part in pour.parts) == pour.volume_ul
        assert pour.volume_ul == round(pour.pulses * 1_000_000 / month.pulses_per_litre)


def test_rung_foots_with_the_till(month: SimMonth) -> None:
    """Exact where fractions make whole units; a lost line of a split check leaves less than one."""
    rung = sum(
        portion * line.units_micro
        for line in month.rings if line.kind in ("sale", "comp") for _, portion in line.portions
    )
    rows = month.truth.rows.values()
    told = sum(row.matched_portion + row.rung_not_poured for row in rows)
    assert abs(rung / WHOLE - told) <= (60 * OZ if month.gaps else 0.5)


def test_a_unit_answers_at_most_one_serve_and_a_serve_has_at_most_one_unit(month: SimMonth) -> None:
    serves = Counter(unit.serve_id for unit in month.units if unit.serve_id is not None)
    assert max(serves.values()) == 1
    units = Counter(serve.unit_id for serve in month.serves if serve.unit_id is not None)
    assert max(units.values()) == 1


def test_a_clean_month_has_no_unrung_pour(clean: SimMonth) -> None:
    lines = {line.id: line for line in clean.rings}
    units = {unit.id: unit for unit in clean.units}
    written = {serve for entry in clean.log for serve in entry.serve_ids}
    for serve in clean.serves:
        if serve.label != "serve":
            assert serve.id in written
            continue
        unit = units[serve.unit_id or 0]
        rung = [lines[line] for line, _ in unit.lines]
        assert sum(micro for _, micro in unit.lines) == WHOLE
        assert unit.product == serve.product and all(r.voided_ms is None for r in rung)
    assert clean.truth.poured_not_rung() == 0
    assert not clean.gaps


def test_what_no_glass_received_in_a_clean_month_was_foam_gas_a_cleaning_or_written_down(
    clean: SimMonth,
) -> None:
    kegs = [keg for keg in clean.kegs if keg.kind == "on"]
    waste = [entry for entry in clean.log if entry.reason == "waste" and not entry.serve_ids]
    allowance = RATES["kegs"]["allowance_oz"] * OZ
    for pour in clean.pours:
        for part in pour.parts:
            if part.label == "keg_change":
                assert part.volume_ul <= allowance
                assert any(0 < pour.start_ms - keg.at_ms < 60_000 for keg in kegs)
            elif part.label in ("cleaning", "water"):
                assert any(c.start_ms < pour.start_ms < c.end_ms for c in clean.cleanings)
            elif part.serve_id is None and part.label != "gas":
                assert part.label == "waste"
                assert any((entry.volume_ul or 0) >= part.volume_ul for entry in waste)


def _clock_ms(month: SimMonth) -> float:
    offsets = [span.offset_ms for span in month.clock]
    return max(offsets) - min(offsets)


def _short_ul(month: SimMonth) -> float:
    return sum(
        (keg.size_ul or 0) - (keg.true_content_ul or 0)
        for keg in month.kegs if keg.label == "keg_short_fill"
    )


def _measure(loss: str, month: SimMonth) -> float:
    """How much of a loss a month holds."""
    special = {"clock_offset": _clock_ms, "keg_short_fill": _short_ul}
    return special[loss](month) if loss in special else month.truth.cause_ul(loss)


@pytest.fixture(scope="module")
def all_off() -> SimMonth:
    """Every switch at nothing; what is said of it is asked of each loss below."""
    return simulate(3, days=7, venue="small", losses=dict.fromkeys(LOSSES, 0.0), clock="exact")


@pytest.mark.parametrize("loss", LOSSES)
def test_a_switch_brings_its_loss_and_a_stronger_one_brings_more(loss: str, all_off: SimMonth) -> None:
    some, more = (
        _measure(loss, simulate(3, days=7, venue="small", losses={loss: strength}, clock="exact"))
        for strength in (1.0, 2.0)
    )
    assert _measure(loss, all_off) == 0
    assert some > 0
    assert more > 1.2 * some


@pytest.mark.parametrize("venue", sorted(VENUES))
@pytest.mark.parametrize("days", [1, 3])
def test_every_venue_runs_for_a_day_or_three_with_everything_on(venue: str, days: int) -> None:
    month = simulate(4, days=days, venue=venue, losses="all", clock="jump")
    metered = sum(pour.volume_ul for pour in month.pours)
    assert sum(row.poured for row in month.truth.rows.values()) == metered > 0


def test_the_late_venue_trades_across_the_start_of_the_business_day() -> None:
    month = simulate(4, days=3, venue="late")
    edge = month.days[1].start_ms
    near = [pour for pour in month.pours if abs(pour.end_ms - edge) < 1_800_000]
    assert sum(pour.end_ms < edge for pour in near) > 3 < sum(pour.end_ms >= edge for pour in near)


@pytest.mark.parametrize(
    ("kind", "least", "most"),
    [("exact", 0, 0), ("steady", 1, 12), ("drift", 6, 25), ("jump", 60, 90)],
)
def test_the_till_clock_errs_as_told(kind: ClockKind, least: int, most: int) -> None:
    month = simulate(4, days=12, venue="small", clock=kind)
    offsets = [span.offset_ms / 1000 for span in month.clock]
    assert least <= max(offsets) - min(offsets) <= most


def test_a_loss_changes_nothing_but_itself() -> None:
    quiet = simulate(8, days=3, venue="small")
    biased = simulate(8, days=3, venue="small", losses={"meter_calibration": 1})
    unrung = simulate(8, days=3, venue="small", losses={"serves_without_ring": 1})
    assert biased.rings == quiet.rings
    assert [p.start_ms for p in biased.pours] == [p.start_ms for p in quiet.pours]
    assert unrung.pours != quiet.pours  # parts lose their units
    assert [p.volume_ul for p in unrung.pours] == [p.volume_ul for p in quiet.pours]
    assert len(unrung.rings) < len(quiet.rings)


@pytest.mark.parametrize("wrong", ["some", {"leaks": 1}])
def test_an_unknown_loss_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match="losses"):
        simulate(1, days=1, losses=wrong)  # type: ignore[arg-type]


def test_a_month_has_about_twenty_thousand_pours_busy_weekends_and_quiet_mondays(
    clean: SimMonth,
) -> None:
    assert 4_200 < len(clean.pours) < 5_200  # a week of 30 days' 20,000
    per_day = Counter(serve.start_ms // 86_400_000 for serve in clean.serves)
    days = [d.start_ms // 86_400_000 for d in clean.days]
    monday, saturday = per_day[days[0]], per_day[days[5]]
    assert saturday > 2 * monday


@pytest.mark.parametrize(("start", "index", "hours"), [(AUTUMN, 5, 25), (SPRING, 5, 23)])
def test_the_clocks_change_within_saturdays_business_day(
    start: date, index: int, hours: int
) -> None:
    month = simulate(2, days=7, start=start, venue="small")
    saturday = month.days[index]
    lo, hi = to_matching(month, saturday.date, "Bar").bounds
    assert hi - lo == hours * 3_600_000


def _ring_first(month: SimMonth) -> tuple[float, np.ndarray, np.ndarray]:
    """Share of units rung before their pour's end; their lags in ms; units rung in that hour."""
    ends = {serve.id: serve.end_ms for serve in month.serves}
    rung = [u for u in month.units if u.serve_id in ends and not u.why]
    pace = Counter((u.outlet, u.at_ms // 3_600_000) for u in rung)
    lags = np.array([ends[u.serve_id or 0] - u.at_ms for u in rung])
    busy = np.array([pace[u.outlet, u.at_ms // 3_600_000] for u in rung])
    return float(np.mean(lags > 0)), lags[lags > 0], busy[lags > 0]


def test_the_second_lag_family_rings_first_queues_in_the_rush_and_has_a_heavy_tail(
    clean: SimMonth, lossy: SimMonth
) -> None:
    (first, lags, busy), (second, queued, pace) = _ring_first(clean), _ring_first(lossy)
    assert 0.3 < first < 0.6 and second > 0.7
    for these, by, low, high in ((lags, busy, 0.0, 1.4), (queued, pace, 1.5, 9.0)):
        rush, calm = by >= np.quantile(by, 0.75), by <= np.quantile(by, 0.25)
        assert low < np.median(these[rush]) / np.median(these[calm]) < high
    heavy, light = (np.quantile(x, 0.95) / np.median(x) for x in (queued, lags))
    assert heavy > 1.3 * light


def test_kegs_foot_from_count_to_count(month: SimMonth) -> None:
    stock: dict[tuple[str, str], list[int]] = defaultdict(list)
    for keg in month.kegs:
        change = {"count": keg.units, "delivery": keg.units, "on": -1}.get(keg.kind, 0)
        if keg.kind == "count" and stock[keg.outlet, keg.product]:
            assert sum(stock.pop((keg.outlet, keg.product))) == keg.units
        elif change:
            stock[keg.outlet, keg.product].append(change)
    assert not any(stock.values())
