"""The laws of lags as densities: whole seconds to a bin, and to each stretch its share of lags."""

from __future__ import annotations

import numpy as np
import pytest

from matching.days import SETTINGS
from unrung.matching import priors
from unrung.matching.laws import bins, learn_laws, prior_laws, scale_of

MINUTE = 60_000


@pytest.mark.parametrize(("before", "after"), [
    (20 * MINUTE, 90 * MINUTE), (0, MINUTE), (5 * MINUTE, 8 * 60 * MINUTE), (1_000, 1_000),
])
def test_a_bin_is_a_run_of_whole_seconds_and_every_second_of_the_window_lies_in_its_own(
    before: int, after: int
) -> None:
    scale = scale_of(before, after)
    second = np.arange(-before, after, 1_000)
    at, inside = bins(scale, second)
    assert inside.all()
    assert (scale.edge_s[at] <= second / 1_000).all()
    assert (second / 1_000 + 1 <= scale.edge_s[at + 1]).all()
    assert scale.width_s.tolist() == pytest.approx(np.diff(scale.edge_s).tolist())
    assert scale.width_s.min() >= 1
    beyond = bins(scale, np.array([-before - 1, after]))[1]
    assert not beyond.any()


def test_a_learnt_law_is_the_density_of_the_lags() -> None:
    """Against the normal distribution of SciPy. A law keeps a fifth (``LAW_TAIL_SHARE``) for what no day
    teaches, most of it far from here; and it is smoothed."""
    from scipy.stats import norm  # here, since every process that runs some tests finds all of them

    middle, spread, many = 20.0, 30.0, 40_000
    lag = np.rint(1_000 * norm.rvs(middle, spread, size=many, random_state=7)).astype(np.int64)
    nothing = np.zeros(many, np.int64)
    laws = learn_laws(prior_laws(SETTINGS), [0], nothing, lag, np.ones(many), nothing, nothing)
    scale = laws.scale
    true = (1 - priors.LAW_TAIL_SHARE) * norm.pdf(scale.middle_s, middle, spread)
    near = np.abs(scale.middle_s - middle) < 3 * spread
    assert near.sum() > 60
    assert np.abs(laws.solo[0] - true)[near].max() < 0.08 * true.max()
    assert 0.95 < (laws.solo[0] * scale.width_s).sum() < 1.02
