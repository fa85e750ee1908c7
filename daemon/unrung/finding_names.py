"""The names of all findings, in the order in which they are to be looked at: equipment, settings,
procedure, then the talk with the team."""

from __future__ import annotations

from collections.abc import Sequence

SHOWN = (
    "leak", "meter_calibration", "keg_short_fill", "feed_gap", "clock_offset", "tap_list",
    "portion_setting", "portion_drift", "top_ups", "keg_change_loss", "unlogged_cleaning", "samples",
    "wrong_size", "mis_ring", "serves_without_ring",
)
OTHER_NAMES = ("mis_ring", "tap_list")
"""Beer that was rung under another's name: what is over of one is short of the other, and nothing is lost."""


def explained_ul(finding: str, volumes_ul: Sequence[int]) -> int:
    """What one finding explains of a day, in microlitres, of its volume of each product: over less short; of
    beer under another name what changed it, the larger of the two.

    >>> explained_ul("samples", [60, -20]), explained_ul("mis_ring", [60, -59])
    (40, 60)
    """
    over, short = (sum(max(0, sign * one) for one in volumes_ul) for sign in (1, -1))
    return max(over, short) if finding in OTHER_NAMES else over - short
