"""The statistics against worked examples of the NIST/SEMATECH e-Handbook, textbooks and scipy."""

from __future__ import annotations

import math
from statistics import fmean

import pytest

from unrung.findings import statistics as ours

INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
"""e-Handbook 6.3.2.2: flow rates."""
VMASK = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]
"""e-Handbook 6.3.2.3."""
MONTGOMERY = [
    102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7,
    100.3, 101.4, 97.2, 101.0,
]
"""Montgomery and Runger, Applied Statistics and Probability for Engineers, Example 16-6."""
FILL_WEIGHTS = [
    8.024, 7.971, 8.125, 8.123, 8.068, 8.177, 8.229, 8.072, 8.066, 8.089, 8.058, 8.147, 8.141, 8.047,
    8.125,
]
"""SAS/QC documentation, CUSUM procedure."""
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799,
    958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916,
    692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698,
    845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801,
    1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170,
    912, 746, 919, 718, 714, 740,
]
"""Annual flow of the Nile at Aswan, 1871-1970 (Cobb 1978, Biometrika 65:243-251)."""


def test_individuals_limits_are_those_of_the_e_handbook() -> None:
    low, centre, high = ours.individuals(INDIVIDUALS)
    assert (low, centre, high) == pytest.approx((45.8159, 50.81, 55.8041), abs=1e-4)


def test_cusum_signals_from_the_14th_mean_on_as_in_the_e_handbook() -> None:
    above, below = ours.cusum(VMASK, 325, 0.3175)
    assert [at for at, value in enumerate(above, 1) if value > 4.1959] == list(range(14, 21))
    assert above[12:] == pytest.approx([3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035])
    assert {at: round(value, 4) for at, value in enumerate(below, 1) if value} == {
        2: 0.0075, 4: 0.3325, 7: 0.5575, 8: 0.715, 9: 0.1725, 10: 0.255, 11: 0.3125,
    }


def test_cusum_of_a_process_in_control_is_the_textbooks_table() -> None:
    above, below = ours.cusum(MONTGOMERY, 99, 1)
    table = [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
    assert above == pytest.approx(table)
    assert below == pytest.approx([0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1, 2.3, 0, 0, 0.8, 0])
    assert max(*above, *below) < 10


def test_one_sided_cusum_of_fill_weights_signals_at_hour_seven_alone() -> None:
    above, _ = ours.cusum([(weight - 8.1) / 0.05 for weight in FILL_WEIGHTS], 0, 0.5)
    assert above == pytest.approx(
        [0, 0, 0, 0, 0, 1.04, 3.12, 2.06, 0.88, 0.16, 0, 0.44, 0.76, 0, 0], abs=1e-9)
    assert [at for at, value in enumerate(above, 1) if value > 3] == [7]


def test_ewma_and_its_limits_are_those_of_the_e_handbook() -> None:
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *INDIVIDUALS]
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]
    assert ours.ewma(values, 50, 0.3) == pytest.approx(printed, abs=5e-3)
    low, _, high = ours.ewma_limits(50, 2.0539, 0.3)
    assert (low, high) == pytest.approx((47.4115, 52.5884), abs=1e-3)


def test_limits_of_counts_are_those_of_the_e_handbook() -> None:
    """6.3.3.1: defects per wafer."""
    found = ours.counts(
        [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13])
    assert found == (4, 16, 28)


def test_limits_of_a_mean_are_those_of_the_e_handbook() -> None:
    """1.3.5.2, ZARR13.DAT: 195 values, known by their mean and standard deviation."""
    plain = [math.sin(at) for at in range(195)]
    scale = 0.02278881 / ours.spread(plain)
    values = [9.261460 + (value - fmean(plain)) * scale for value in plain]
    low, _, high = ours.t_limits(values)
    assert (low, high) == pytest.approx((9.258242, 9.264679), abs=1e-6)


@pytest.mark.parametrize(
    ("probability", "freedom", "value"),
    [(0.975, 9, 2.262157), (0.975, 19, 2.093024), (0.95, 10, 1.812461), (0.975, 194, 1.9723)],
)
def test_quantiles_of_students_t_are_the_tables(probability: float, freedom: int, value: float) -> None:
    assert ours.t_quantile(probability, freedom) == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [(0, 0, 3.688879), (1, 0.025318, 5.571643), (3, 0.618672, 8.767273), (5, 1.623486, 11.668332),
     (10, 4.795389, 18.390356), (20, 12.216520, 30.888378)],
)
def test_limits_of_a_poisson_mean_are_garwoods(count: int, low: float, high: float) -> None:
    found = ours.poisson_limits(count)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-6)


def test_the_nile_changed_after_1898() -> None:
    assert fmean(NILE) == pytest.approx(919.35)
    at, saved = ours.change_point(NILE)
    before, after = NILE[:at], NILE[at:]
    assert 1871 + at == 1899
    assert (fmean(before), fmean(after)) == pytest.approx((1097.75, 849.972222))
    left = sum((v - fmean(before)) ** 2 for v in before) + sum((v - fmean(after)) ** 2 for v in after)
    assert left == pytest.approx(1_597_457.194444)
    assert saved == pytest.approx(sum((v - fmean(NILE)) ** 2 for v in NILE) - left)


@pytest.mark.parametrize("step_at", [20, 63, 64, 65, 150, 279])
def test_the_change_that_saves_most_is_found_wherever_it_lies(step_at: int) -> None:
    values = [NILE[nth % len(NILE)] + (200 if nth >= step_at else 0) for nth in range(300)]

    def apart(part: list[int]) -> float:
        mean = fmean(part)
        return math.fsum((value - mean) ** 2 for value in part)

    saved = {at: apart(values) - apart(values[:at]) - apart(values[at:]) for at in range(20, 281)}
    best = max(saved, key=saved.__getitem__)
    at, most = ours.change_point(values, 20)
    assert at == best and most == pytest.approx(saved[best])


def test_the_spread_of_totaliser_sized_values_keeps_its_digits() -> None:
    """NIST StRD NumAcc1 and NumAcc4: a difference of sums of squares comes out negative here."""
    assert ours.spread([10_000_001, 10_000_003, 10_000_002]) == 1
    hard = [10_000_000.2, *[10_000_000.1, 10_000_000.3] * 500]
    naive = sum(v * v for v in hard) - sum(hard) ** 2 / len(hard)
    assert ours.spread(hard) == pytest.approx(0.1, abs=1e-8)
    assert not naive / 1000 == pytest.approx(0.01, rel=0.1)


@pytest.mark.parametrize("mean", [0.01, 0.5, 3.0, 25.0])
@pytest.mark.parametrize("count", [0, 1, 2, 7, 40, 90])
def test_poisson_tails_are_scipys(count: int, mean: float) -> None:
    from scipy import stats  # it takes a second to load

    assert ours.poisson_tail(count, mean) == pytest.approx(stats.poisson.sf(count - 1, mean), rel=1e-9)


@pytest.mark.parametrize("share", [0.01, 0.12, 0.5, 0.93])
@pytest.mark.parametrize(("count", "trials"), [(0, 5), (3, 5), (20, 100), (60, 100), (300, 2000)])
def test_binomial_tails_are_scipys(count: int, trials: int, share: float) -> None:
    from scipy import stats

    found = ours.binomial_tail(count, trials, share)
    assert found == pytest.approx(stats.binom.sf(count - 1, trials, share), rel=1e-7, abs=1e-300)


@pytest.mark.parametrize("value", [0.0, 0.4, 1.7, 6.0])
@pytest.mark.parametrize("freedom", [1, 4, 30, 700])
def test_students_law_is_scipys(value: float, freedom: int) -> None:
    from scipy import stats

    assert ours.t_up_to(value, freedom) == pytest.approx(stats.t.cdf(value, freedom), abs=1e-12)


def test_the_middle_is_the_published_one_of_the_hamilton_scale() -> None:
    """Nine patients: Hollander and Wolfe, Nonparametric Statistical Methods, the scale's example."""
    before = [1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30]
    after = [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29]
    fell = [one - other for one, other in zip(before, after, strict=True)]
    assert ours.middle(fell) == pytest.approx(0.46, abs=0.005)


def test_the_mean_range_of_two_normal_values_is_the_published_constant() -> None:
    assert ours.D2 == pytest.approx(2 / math.sqrt(math.pi), abs=5e-4)
