"""The two clocks and the law of lags, learnt from one day.

A lag is ring time minus end of pour. First the centre is sought: near which lag do rings follow
pours of their product more often than the flat background of chance neighbours? Then, from
provisional pairs, the shape of the law around that centre.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints
from unrung.matching.costs import STEP_MS, Laws, millinats
from unrung.matching.types import MatchSettings

BIN_S = 10.0


@dataclass(frozen=True, slots=True)
class Clockwork:
    """Where the lag is centred through the day; times in milliseconds."""

    centre_ms: int
    jump_at_ms: int | None = None
    """By the till's clock."""
    jump_ms: int = 0

    def expect(self, at_ms: Ints) -> Ints:
        """When the serves of rings at these till times should have ended."""
        later = 0 if self.jump_at_ms is None else self.jump_ms * (at_ms >= self.jump_at_ms)
        return at_ms - self.centre_ms - later


def prior_density(residual_s: Floats, settings: MatchSettings) -> Floats:
    """The law of residual lags before the data speak, per second."""
    span = (settings.window_before_ms + settings.window_after_ms) / 1_000
    wide, flat = priors.LAG_WIDE_SHARE, priors.LAG_FLAT_SHARE
    core = _student(residual_s, priors.LAG_SCALE_S)
    return (
        (1 - wide - flat) * core + wide * _student(residual_s, priors.LAG_WIDE_S) + flat / span
    )


def grid_s(settings: MatchSettings) -> Floats:
    """Middles of the columns of a table of laws, seconds."""
    step = STEP_MS / 1_000
    count = -(-(settings.window_before_ms + settings.window_after_ms) // STEP_MS)
    return -settings.window_before_ms / 1_000 + step * (np.arange(count) + 0.5)


def laws_of(densities: Floats, settings: MatchSettings) -> Laws:
    """Tables of the given densities (rows) over ``grid_s``."""
    return Laws(millinats(np.log(densities)), -settings.window_before_ms)


def coarse_centre(lag_s: Floats, weight: Floats) -> float:
    """The centre (seconds) with the greatest excess of weighted lags, prior included."""
    reach = priors.OFFSET_RANGE_S
    edges = np.arange(-reach, reach + BIN_S, BIN_S)
    counts, _ = np.histogram(lag_s, edges, weights=weight)
    middle = (edges[:-1] + edges[1:]) / 2
    taps = np.arange(-30, 31) * BIN_S
    shape = _student(taps, priors.LAG_SCALE_S * 1.3)
    score = np.convolve(counts, shape / shape.max(), "same")
    wide = np.ones(181) / 181
    score -= np.convolve(score, wide, "same") / np.convolve(np.ones_like(score), wide, "same")
    return float(middle[np.argmax(score + log_offset_prior(middle))])


def log_offset_prior(centre_s: Floats) -> Floats:
    """Log density of the centre before the data speak."""
    off = centre_s - priors.LAG_CENTRE_S
    near, far = priors.OFFSET_NEAR_SHARE, priors.OFFSET_FAR_SHARE
    normal = [
        share * np.exp(-0.5 * (off / scale) ** 2) / scale / np.sqrt(2 * np.pi)
        for share, scale in ((near, priors.OFFSET_NEAR_S), (far, priors.OFFSET_FAR_S))
    ]
    return np.log(normal[0] + normal[1] + (1 - near - far) / (2 * priors.OFFSET_RANGE_S))


def _student(x: Floats, scale: float) -> Floats:
    """Student's t with 3 degrees of freedom."""
    return 2 / (np.pi * np.sqrt(3) * scale) / (1 + (x / scale) ** 2 / 3) ** 2
