"""Keg by keg and count by count over simulated days, whose kegs' true contents are known."""

from __future__ import annotations

from collections import Counter
from datetime import date

import pytest

from findings.months import inputs_of, ledgers, settings_of
from simulator import SimMonth, simulate
from unrung.ledger.month import MonthInputs, MonthLedger, make_month
from unrung.ledger.tap_spans import TapSpan, tap_spans
from unrung.periods import Period

METER = 0.012
"""Three times the simulated meters' steady error of 0.4 %."""


class Lived:
    """Nine days at a bar of four lines; some kegs of one product are filled short by 6 %."""

    def __init__(self) -> None:
        self.truth: SimMonth = simulate(
            5, days=9, start=date(2026, 10, 1), venue="small", losses={"keg_short_fill": 1})
        settings = settings_of(self.truth)
        self.days = list(ledgers(self.truth, settings))
        self.spans: list[TapSpan] = [
            span for day in self.days if day.facts for span in tap_spans(day.facts, settings)]
        bounds = (self.truth.days[0].start_ms, self.truth.days[-1].end_ms)
        period = Period("2026-10", self.truth.days[0].date, self.truth.days[-1].date)
        self.month: MonthLedger = make_month(MonthInputs(
            period, bounds, self.days, dict.fromkeys((day.day for day in self.days), 1),
            leaves=[leaf for day in self.days for leaf in day.leaves], known=bounds,
            kegs=[keg for inputs in inputs_of(self.truth) for keg in inputs.kegs], spans=self.spans,
        ), settings)


@pytest.fixture(scope="module")
def lived() -> Lived:
    return Lived()


def test_what_ran_through_the_lines_is_what_the_days_hold(lived: Lived) -> None:
    """To the microlitre: metered, matched and logged, per outlet and product."""
    lines, days = Counter(), Counter()
    for span in lived.spans:
        place = (span.outlet, span.product)
        lines.update({(place, "beer"): span.beer_ul, (place, "not_beer"): span.not_beer_ul,
                      (place, "rung"): span.rung_ul, (place, "logged"): span.logged_ul})
    for leaf in (leaf for day in lived.days for leaf in day.leaves):
        place, volumes = (leaf.outlet, leaf.product), leaf.volumes
        days.update({(place, "beer"): volumes.poured - volumes.not_beer,
                     (place, "not_beer"): volumes.not_beer, (place, "rung"): volumes.matched_portion,
                     (place, "logged"): volumes.logged})
    assert lines == days and sum(days.values()) > 10**8


def test_each_keg_gave_what_was_in_it(lived: Lived) -> None:
    true = {keg.keg: keg.true_content_ul for keg in lived.truth.kegs if keg.kind == "on"}
    whole = [row for row in lived.month.kegs if row.off_ms is not None and row.contents_ul is not None]
    assert len(whole) >= 8
    for row in whole:
        content = true[row.keg]
        assert content is not None and row.metered_ul == pytest.approx(content, rel=METER), row


def test_short_kegs_are_told_from_full_ones(lived: Lived) -> None:
    short = {keg.keg for keg in lived.truth.kegs if keg.label == "keg_short_fill"}
    ended = {row.keg for row in lived.month.kegs if row.off_ms is not None}
    assert short & ended
    assert {row.keg for row in lived.month.kegs if "gave_less" in row.notes} == short & ended
    assert not any({"gave_more", "change_missed"} & set(row.notes) for row in lived.month.kegs)


def test_counts_of_full_kegs_meet_the_meters(lived: Lived) -> None:
    """Counted at both ends, completed by what was left on the lines; short kegs show as lost before
    the meter."""
    true = {keg.keg: keg for keg in lived.truth.kegs if keg.kind == "on"}
    for row in lived.month.stock:
        assert row.counted and row.within_ul is not None
        missing = sum(
            (keg.size_ul or 0) - (keg.true_content_ul or 0) for keg in true.values()
            if (keg.outlet, keg.product) == (row.outlet, row.product))
        error = METER * row.drawn_ul + row.within_ul
        assert row.used_ul - row.drawn_ul == pytest.approx(missing, abs=error)


def test_a_change_that_was_not_written_down_is_found(lived: Lived) -> None:
    """The same days without one line's second coupling."""
    settings = settings_of(lived.truth)
    lines = [keg for inputs in inputs_of(lived.truth) for keg in inputs.kegs]
    (second,) = [line for line in lines if line.more["keg"] == "M01-002"]
    kept = [line for line in lines if line.tap != second.tap or line.at_ms not in {
        second.at_ms, max(one.at_ms for one in lines if one.kind == "off" and one.tap == second.tap
                          and one.at_ms < second.at_ms)}]
    assert len(kept) == len(lines) - 2
    bounds = (lived.truth.days[0].start_ms, lived.truth.days[-1].end_ms)
    month = make_month(MonthInputs(
        lived.month.period, bounds, lived.days, leaves=(), known=bounds, kegs=kept, spans=lived.spans,
    ), settings)
    assert [row.keg for row in month.kegs if "change_missed" in row.notes] == ["M01-001"]
