"""What is believed about serves, lags and unrung pours before a day's data speak.

Every number here is common practice of the trade, no source; a day with enough data outweighs
most of them. Logarithms are natural, volumes microlitres, times seconds unless a name says else.
"""

from __future__ import annotations

US_FL_OZ_UL = 29_573.5295625

# --- How full a glass is -------------------------------------------------------------------
FILL_SPREAD = 0.045
"""Standard deviation of log(serve / set portion) of an ordinary glass."""
FILL_WIDE_SHARE, FILL_WIDE_FACTOR = 0.12, 3.0
"""Share of careless fills, and how much wider they spread."""
FILL_BIAS_REACH = 0.17
"""Serves within this log ratio of a size teach how far the set portion is off."""
FILL_BIAS_PRIOR = 10
"""Serves' worth of belief that the set portion is right."""
SIZE_SHARE_PRIOR = 2.0
"""Serves' worth of belief that each menu size sells alike."""

# --- Flows that are no glass ---------------------------------------------------------------
TASTER_UL, TASTER_SPREAD = 2 * US_FL_OZ_UL, 0.5
"""Tasters are 1 to 3 oz."""
TINY_UL = 0.6 * US_FL_OZ_UL
"""Below this a flow is a leak, a drip or a purge, never a fragment that matters."""
TASTER_SHARE, TINY_SHARE, ODD_SHARE = 0.02, 0.01, 0.03
ODD_LOG_RANGE = 9.0
"""Log volumes from a drip to a keg: the odd flow is spread evenly over them."""
SHARE_PRIOR = 20.0
"""Pours' worth of belief in the three shares above."""

# --- Fragments and long pours --------------------------------------------------------------
JOIN_LOG_ODDS = -2.2
"""Log odds that the next pour on a tap goes on filling the same vessel, right after a pour."""
JOIN_DECAY_S = 25.0
"""Those odds fall by a factor e in this many seconds of pause."""
TOP_UP_SHARE, TOP_UP_RATE = 0.6, 8.0
"""Share of second fragments that are small top-ups (falling off as exp(-rate * fraction)); the
rest divide the vessel anywhere."""
MAX_FRAGMENTS = 4
SPLIT_LOG_ODDS = (-3.0, -4.2, -5.2, -6.2, -7.2)
"""Log odds that one flow fills 2, 3, 4, ... vessels."""
OVERLAP_S = 2.0
"""A pour may start this long before the one before it on its tap ended, by rounding."""

# --- Clock and lag -------------------------------------------------------------------------
LAG_CENTRE_S = 0.0
OFFSET_NEAR_S, OFFSET_FAR_S, OFFSET_RANGE_S = 60.0, 420.0, 5_400.0
OFFSET_NEAR_SHARE, OFFSET_FAR_SHARE = 0.6, 0.35
"""Where the centre of ring minus pour lies before the data speak: near 0, minutes off, anywhere
within the range that is searched."""
LAG_SCALE_S, LAG_WIDE_S = 35.0, 200.0
LAG_WIDE_SHARE, LAG_FLAT_SHARE = 0.20, 0.02
"""The lag's shape: a core, a wide part, and a flat part over the whole window."""
LAG_PRIOR = 25.0
"""Pairs' worth of belief in that shape."""

# --- What stays unpaired -------------------------------------------------------------------
LONE_SERVE = 0.04
"""Share of full-size serves without a ring."""
LONE_ODD = 0.97
"""Share of tasters, drips and odd flows without a ring."""
LONE_RING = 0.02
"""Share of rings without a pour."""
VOIDED_RING = 0.9
"""Share of voided rings without a pour."""
WRONG_SIZE, RUNG_ODD = 0.01, 0.004
"""Share of rung serves whose ring names another size; whose volume fits no size at all."""
RATE_WINDOW_S = 1_800.0
"""Half width of the span in which the local rate of rings is counted."""

MILLINATS = 1_000
"""Integer costs are thousandths of a natural logarithm."""
