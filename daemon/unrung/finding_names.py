"""The names of all findings, in the order in which they are to be looked at: equipment, settings,
procedure, then the talk with the team."""

from __future__ import annotations

SHOWN = (
    "leak", "meter_calibration", "keg_short_fill", "feed_gap", "clock_offset", "tap_list",
    "portion_setting", "portion_drift", "top_ups", "keg_change_loss", "unlogged_cleaning", "samples",
    "wrong_size", "mis_ring", "serves_without_ring",
)
OTHER_NAMES = ("mis_ring", "tap_list")
"""Beer that was rung under another's name: what is over of one is short of the other, and nothing is lost."""
