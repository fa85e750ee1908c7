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
SPREAD_PRIOR = 60.0
"""Serves' worth of belief in the usual spread."""
LIFT_PRIOR, LIFT_SPREAD = 12.0, 0.055
"""Joins' worth of belief that a glass filled in several goes holds what others hold, and how
much such glasses spread."""
SIZE_SHARE_PRIOR, SIZE_SHARE_BELIEF = 1.0, 10.0
"""Rings' worth of belief that each menu size sells alike, and serves' worth of belief that sizes
are poured as they are rung."""
SHIFT_REACH, SHIFT_STEP = 20, 0.01
"""Common shifts of all sizes that are looked for: so many steps up and down."""
SHIFT_LEAST_UL, SHIFT_MOST_UL = 30_000.0, 8_000_000.0
"""Volumes that tell about shifts."""
SHIFT_USUAL, SHIFT_APART = 0.01, 0.006
"""Scale (per nat) on which a product's shift, and a tap's shift from its product's, is doubted."""

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
JOIN_LOG_ODDS, INTERLEAVED_LOG_ODDS, CARRIED_LOG_ODDS = -1.5, -3.0, -1.5
"""Log odds that the next pour on a tap goes on filling the same vessel; that a later one does,
other glasses having been poured between; and that one does after a new keg went on in between."""
PAUSES_S = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
"""Pauses are told apart between these, and the odds of each class are learnt from the day."""
LINK_PRIOR = 8.0
"""Links' worth of belief in the odds, per class of pause."""
TASTE_PRIOR = 10.0
"""Links' worth of belief that all products are poured alike."""
PACES_S = (4.0, 24.0)
SHARES = (0.0, 0.03, 0.06, 0.09, 0.12, 0.16, 0.2, 0.25, 0.3, 0.37, 0.45, 0.55, 0.65, 0.8, 1.0)
DIVISION_PRIOR = 10.0
"""Classes of the share of a vessel that its second fragment holds, learnt for pauses between
``PACES_S``, and links' worth of belief in the usual."""
MUCH_SMALLER, OTHER_GLASS, RESTART_WORTH = 0.5, 0.04, 5.0
"""The second beginning leaves out pours that a flow of less than this part follows; it is tried where a
glass then holds (log) so much else, and taken where it is so much (log likelihood) likelier."""
TOP_UP_SHARE, TOP_UP_RATE = 0.6, 8.0
"""Share of second fragments that are small top-ups (falling off as exp(-rate * fraction)); the
rest divide the vessel anywhere."""
MAX_FRAGMENTS = 4
SPLIT_PRIOR = 40.0
"""Pours' worth of belief, per tap, in the odds of a split below."""
SPLIT_LEAST_FIT, SPLIT_OPTIONS = 1.0, 4
"""A pour is looked at as several glasses where its density as one is below this; the likeliest
handfuls are kept."""
SLACK, SPLIT_SLACK = 9.0, 9.0
"""Ways of cutting that are this much less likely than the best are kept, for the rings to decide."""
SPLIT_LOG_ODDS = (-3.0, -4.2, -5.2, -6.2, -7.2, -8.2, -9.2)
MIXED_GLASSES, SPLIT_REACH = 4, 0.25
"""Handfuls of more glasses than this are all of one size; how far (log) a pour may be from the
volume of a handful."""
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

# --- Right after a keg goes on -----------------------------------------------------------------
KEG_EARLY_S, RUN_OFF_S = 10.0, 60.0
"""What begins so long before a keg was written down to go on, or after it, may be run off."""
RUN_OFF_FLOWS = 3
"""No more than so many flows: then glasses are filled."""
KEG_WAIT_S, KEG_RESUMED_S = 900.0, 120.0
"""A glass that was begun so long before a keg went on may be finished this soon after it."""
RUN_OFF_SHARE, RUN_OFF_DENSITY = 0.6, 0.04
"""Share of it that is, and the density of its log volume: anything from a splash on."""
RUN_OFF_MOST_UL = 40 * US_FL_OZ_UL
"""More than this in one flow is glasses in a row, no foam."""

# --- What was written down --------------------------------------------------------------------
LONE_ENTRY = 0.15
"""Share of log entries that no serve stands behind."""
SAID_EARLY, SAID_DECAY = 0.1, 2.0
"""Share of entries written before the pour, and how fast the others fall off over the time within
which they may come (e-folds)."""

# --- What stays unpaired -------------------------------------------------------------------
LONE_SERVE = 0.04
"""Share of full-size serves without a ring."""
LONE_ODD = 0.97
"""Share of tasters, drips and odd flows without a ring."""
LONE_RING = 0.01
"""Share of rings without a pour."""
VOIDED_RING = 0.9
"""Share of voided rings without a pour."""
WRONG_SIZE, RUNG_ODD = 0.01, 0.004
"""Share of rung serves whose ring names another size; whose volume fits no size at all."""
RATE_WINDOW_S = 1_800.0
"""Half width of the span in which the local rate of rings is counted."""

MILLINATS = 1_000
"""Integer costs are thousandths of a natural logarithm."""

# --- How it is learnt and looked at ---
JUMP_WORTH, JUMP_WORTH_SHARE, JUMP_LEAST_S = 20.0, 0.2, 25.0
"""Log likelihood that a jump of the clock must win, and the least jump that is looked for."""
ROUND_GAP_S, TERMINAL_GAP_S = 120.0, 4.0
"""Rings of one check (of one terminal, where the till gives no check) this close to the one
before belong to one round."""
MATES_SCALE_S, MATES_SHARE = 18.0, 0.85
"""Spread of a ring's lag around its round-mates', and the share of rings that follow them."""
RINGS_AT_ONCE = 2.0
"""Rings that lag alike, since a round is rung and poured as one: so many tell of the clock as one does."""
ROUND_RARE = 0.75
"""How much of what a far-out lag costs a round of rings pays as a whole: less than 1, since the lag around
which they lie is itself only known from them."""
LAW_TAIL_SHARE, LAW_TAIL_S = 0.2, 600.0
"""Share of lags that no day teaches: half within minutes, half anywhere in the window."""
LAW_SCALE_S, LAW_STEP, LAW_KERNEL = 15.0, 0.05, 0.22
"""The scale on which laws are smoothed; see ``laws.smooth_law``."""
CENTRE_PRIOR = 4.0
"""Pairs' worth of belief in the centre found coarsely."""

LEARNING_ROUNDS = 3
"""How often pairs and laws are learnt from each other, and the rings revise the serves, before the day is
matched."""
MAX_APART = 5
"""A fragment may follow up to this many pours later on its tap."""
SECOND_LOOK_LEAST = 0.3
"""Log likelihood that a change of the cut must gain."""
BELIEF_STEPS = 8
"""Steps of belief propagation."""
JUMP_GAIN = 30.0
"""Log likelihood of the day's pairs that a jump of the clock must bring."""

POOL_PRIOR = 30.0
"""Rings, or serves, worth of belief in the usual share for the outlet as a whole."""
SHARE_BELIEF = 15.0
"""Rings, or serves, worth of belief that a product is like its outlet, and a tap like its product."""
LEAST_SHARE, MOST_SHARE = 0.002, 0.97
MAX_GLASSES_JOINED = 2.0
"""Several pours together fill no more than this many of the largest glass."""
LEARNING_WINDOW_S = (-1_800.0, 2_400.0)
"""Residual lags that laws and shares are learnt from; the tail beyond is the prior's."""
MATES_ROUNDS = 3
FREE_RING_S, POOR_GAIN = 900.0, 5.0
"""A second look is taken at pours with a free ring this near, or whose serve gains less than this
by its ring."""
PRICE_STEPS = 5
"""How many steps the paths are followed along which a ring taken is made good."""
SPLIT_LEAST_COST = 2.0
SURE = 0.6
"""A serve of which less of the likelihood agrees with the assignment is uncertain."""
RANGE_DOWN, RANGE_UP, SETTLED = 0.6, 0.8, 0.01
"""Half widths of the 90 % range in standard deviations; a chance this near to 0 or 1 is settled."""
CONFUSED_NEAR_S, CONFUSED_FAR_S, CONFUSED_LEAST, CONFUSED_SIGMAS = 90.0, 690.0, 8, 5.0
"""Two products are confused where within so many seconds so many more lone serves than chance
has it meet lone rings."""
SWAPPED_PRIOR, LEAST_SWAPPED, MOST_SWAPPED = 5.0, 0.006, 0.97
"""Serves' worth of belief that a tap pours what the tap list says, where products are confused; and
between what the share that it does not is held."""
PAIR_BONUS, MATES_BONUS = 1.1, 1.6
"""Log likelihood added to every pair: what the laws know of late rings is always too little; and beyond it to
pairs of rings with round-mates, which pay ``ROUND_RARE``. A lone ring gets no more: it may well be for
nothing that was poured."""
SWAPPED_FIRST, CLEARLY_SWAPPED, SWAPPED_BONUS = 0.3, 0.5, 2.0
"""The share when confusion is first seen; and above which share so much log likelihood is added in favour
of the other name, since a wrong pair by the own name takes a ring or serve from its true partner as well."""
MOST_PAIRS = 1_500_000
"""Pairs of rings and serves looked at in one go. A bar stays far below; a stadium's stand does not."""
CROWD_PAIRS, CROWD_OFFERS = 250, 40
"""Serves that a ring could have on average, beyond which single pairs tell nothing; how many it is then
offered."""
BELIEF_MORE_STEPS, UNSETTLED = 24, 0.1
"""Further steps, damped, where beliefs still contradict each other by so much."""
LATE_MS = 90 * 60_000
"""A venue that lets rings come later than this has a till that tells when checks were closed."""
MOST_GROUPS, MOST_MOVES = 120, 1_000
"""Sets of pours that begin with the same one, and moves weighed at each pour where they are cut; a bar's
day stays below, a meter that counts in chunks does not."""
