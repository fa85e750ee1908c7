"""What a fix did: the interval is scipy's, verdicts follow from it, and findings close and stand again."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from findings import trade
from findings.months import ledgers, settings_of
from findings.trade import OZ, alone, at, changed, fuller, ordinary, with_serves
from simulator import simulate
from unrung.findings.apply import with_findings
from unrung.findings.fix_cases import first_needed
from unrung.findings.fix_effect import Effect, effect
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.ledger.results import DayLedger
from unrung.settings import Fix, Settings

FIXED = 14
"""Day of the fix, counted from the first."""
values = st.lists(st.floats(-30_000, 60_000), min_size=5, max_size=20)


@given(values, values)
def test_the_interval_is_scipys(before: list[float], after: list[float]) -> None:
    """scipy.stats.ttest_ind with unequal variances (Welch): an independent implementation."""
    from scipy import stats  # it takes a second to load

    found = effect(before, after)
    theirs = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.90)
    assert found is not None
    if theirs.high > theirs.low and np.ptp(before) + np.ptp(after) > 1:
        assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=0.01, rel=1e-9)


def test_nine_intervals_in_ten_hold_the_true_change() -> None:
    """400 random series with unequal spreads and lengths; a right interval misses 40 of them, give or take
    18 (three standard deviations of a binomial)."""
    rng, missed = np.random.default_rng(20_261_114), 0
    for _ in range(400):
        first, second = rng.integers(5, 25, 2)
        before = rng.normal(200, rng.uniform(5, 80), first)
        found = effect(list(before), list(rng.normal(12, rng.uniform(1, 80), second)))
        assert found is not None
        missed += not found.low <= 12 - 200 <= found.high
    assert 22 <= missed <= 58


@pytest.mark.parametrize(("before", "after", "low", "high", "verdict"), [
    (208, 12, -222, -170, "closed"),
    (208, 69, -150, -128, "closed"),
    (208, 72, -150, -122, "smaller"),
    (208, -150, -380, -336, "smaller"),
    (208, 200, -60, 44, "no_help"),
    (208, 260, 20, 84, "no_help"),
    (208, 100, -240, 24, "too_early"),
    (-208, -12, 170, 222, "closed"),
    (-208, -200, -44, 60, "no_help"),
    (0, 0, 0, 0, "too_early"),
])  # fmt: skip
def test_the_verdict_follows_from_the_interval(
    before: float, after: float, low: float, high: float, verdict: str
) -> None:
    assert Effect(before, after, low, high).verdict == verdict


@pytest.mark.parametrize("sides", [(4, 20), (20, 4)])
def test_fewer_than_five_days_on_either_side_say_nothing(sides: tuple[int, int]) -> None:
    assert effect([9.0] * sides[0], [1.0] * sides[1]) is None


def test_days_that_are_all_alike_have_an_interval_of_no_width() -> None:
    assert effect([5.0] * 5, [1.0] * 6) == Effect(5.0, 1.0, -4.0, -4.0)


def fixed(tap: str = "", product: str = "", finding: str = "", day: int = FIXED) -> Settings:
    fix = Fix(day=trade.FIRST + timedelta(days=day), what="portion set to 16.0", tap=tap, product=product,
              finding=finding)
    return trade.settings().model_copy(update={"fixes": (fix,)})


def judged(days: list[DayFacts], settings: Settings, until: int) -> DayLedger:
    """The ledger of day ``until``, as far as findings and fixes go."""
    ledger = DayLedger(days[until].day, (), (), (), (), (), facts=days[until])
    return with_findings(ledger, days[:until], settings)


def over_until(last: int, days: int = 40) -> list[DayFacts]:
    """Tap 1 fills its pints an ounce over until a day."""
    def over(day: int, serve: ServeFact) -> ServeFact:
        wrong = day < last and (serve.tap, serve.size) == ("T1", "16 oz")
        return fuller(serve, round(OZ)) if wrong else serve

    return changed(ordinary(days), over)


def names(ledger: DayLedger) -> list[str]:
    return [row.finding for row in ledger.findings]


def test_a_fix_that_helped_closes_its_finding_as_soon_as_five_days_say_so() -> None:
    days, settings = over_until(FIXED), fixed("T1")
    early = judged(days, settings, FIXED + 4)
    assert names(early) == ["portion_setting"] and early.fixes[0].verdict == "too_early"
    assert "too early to say (4 of 5 days)" in early.findings[0].evidence
    told = judged(days, settings, FIXED + 5)
    assert names(told) == [] and told.fixes[0].verdict == "closed"
    assert told.fixes[0].sentence.startswith(
        "Portion set to 16.0 (tap T1), fixed Mon, Jun 15: glasses over or under their portion, "
        "16 fl oz a day before, ")
    later = judged(days, settings, FIXED + 20)
    assert names(later) == [] and later.fixes[0].verdict == "closed"


def test_the_same_weeks_without_the_fix_written_down_still_raise_it() -> None:
    assert names(judged(over_until(FIXED), trade.settings(), FIXED + 5)) == ["portion_setting"]


def test_a_fix_that_did_not_help_leaves_the_finding_open_and_it_says_so() -> None:
    told = judged(over_until(99), fixed("t1"), FIXED + 10)
    assert names(told) == ["portion_setting"] and told.fixes[0].verdict == "no_help"
    assert "it did not help; the finding is open again" in told.findings[0].evidence


def test_what_comes_back_after_a_fix_is_told_again() -> None:
    days = over_until(FIXED)
    back = [*days[: FIXED + 8], *over_until(99)[FIXED + 8 :]]
    assert names(judged(back, fixed("T1"), FIXED + 7)) == []
    assert "portion_setting" in names(judged(back, fixed("T1"), FIXED + 20))


@pytest.mark.parametrize(("tap", "product"), [("T2", ""), ("", "Stout")])
def test_a_fix_elsewhere_touches_nothing(tap: str, product: str) -> None:
    told = judged(over_until(FIXED), fixed(tap, product), FIXED + 6)
    assert names(told) == ["portion_setting"] and told.fixes[0].verdict == "nothing_found"


def test_a_fix_of_another_kind_touches_nothing() -> None:
    told = judged(over_until(99), fixed("T1", finding="leak"), FIXED + 10)
    assert told.fixes[0].finding == "leak" and "Fix:" not in told.findings[0].evidence


def test_after_four_weeks_a_fix_is_no_longer_spoken_of() -> None:
    days, settings = over_until(FIXED, 50), fixed("T1")
    assert judged(days, settings, FIXED + 28).fixes
    assert not judged(days, settings, FIXED + 29).fixes
    assert first_needed(days[FIXED + 28].day, settings) == days[FIXED].day - timedelta(days=28)
    assert first_needed(days[FIXED + 29].day, settings) == days[FIXED + 2].day


@pytest.mark.parametrize(("again", "until", "verdict"), [
    (False, 10, "too_early"), (False, 14, "closed"), (True, 12, "no_help")])  # fmt: skip
def test_an_event_is_closed_once_it_stayed_away_for_two_weeks(again: bool, until: int, verdict: str) -> None:
    cleaned = [FIXED - 2, *([FIXED + 12] if again else [])]
    flows = [alone("T3", at(day, 5) + 240_000 * n, 24) for day in cleaned for n in range(4)]
    told = judged(with_serves(ordinary(40), flows), fixed("T3"), FIXED + until)
    assert [(one.finding, one.verdict) for one in told.fixes] == [("unlogged_cleaning", verdict)]
    assert names(told) == (["unlogged_cleaning"] if again else [])


CAUSES = {"portion_setting": 2.0, "samples": 3.0}


@pytest.fixture(scope="module")
def clean() -> list[DayLedger]:
    """A simulated month without a loss; its settings are those of the months with one."""
    month = simulate(11, days=20, venue="small", losses="none")
    return list(ledgers(month, settings_of(month)))


@pytest.fixture(scope="module", params=CAUSES)
def months(
    request: pytest.FixtureRequest, clean: list[DayLedger]
) -> tuple[str, Settings, list[DayLedger], list[DayLedger]]:
    """The same month with one cause on, and without it."""
    month = simulate(11, days=20, venue="small", losses={request.param: CAUSES[request.param]})
    settings = settings_of(month)
    return request.param, settings, list(ledgers(month, settings)), clean


@pytest.mark.parametrize("helped", [True, False])
def test_a_simulated_cause_that_ends_on_a_day_is_closed_and_one_that_goes_on_is_not(
    months: tuple[str, Settings, list[DayLedger], list[DayLedger]], helped: bool
) -> None:
    cause, settings, lossy, clean = months
    days = [*lossy[:12], *(clean if helped else lossy)[12:]]
    facts = [day.facts for day in days if day.facts]
    standing = with_findings(days[11], facts[:11], settings)
    row = next(row for row in standing.findings if row.finding == cause)
    fix = Fix(day=days[12].day, what="mended", tap=row.tap)
    told = with_findings(days[19], facts[:19], settings.model_copy(update={"fixes": (fix,)}))
    verdicts = {one.finding: one.verdict for one in told.fixes}
    assert verdicts[cause] == ("closed" if helped else "no_help"), told.fixes
    raised = [row for row in told.findings if row.finding == cause]
    assert bool(raised) is not helped
    assert all("open again" in row.evidence for row in raised)


def test_two_fixes_at_one_place_are_each_judged_by_the_days_between_them() -> None:
    """The first did nothing, the second did: each has its own days."""
    settings = fixed("T1")
    second = settings.fixes[0].model_copy(
        update={"day": settings.fixes[0].day + timedelta(days=8), "what": "faucet changed"})
    both = settings.model_copy(update={"fixes": (*settings.fixes, second)})
    told = judged(over_until(FIXED + 8), both, FIXED + 16)
    assert [one.verdict for one in told.fixes] == ["closed", "no_help"]
    assert names(told) == []


def test_a_day_that_a_feed_does_not_cover_is_no_day_to_judge_by() -> None:
    days = over_until(FIXED)
    gaps = [replace(day, missing=("no sales",)) if FIXED < n < FIXED + 4 else day
            for n, day in enumerate(days)]
    assert judged(gaps, fixed("T1"), FIXED + 6).fixes[0].verdict == "too_early"


