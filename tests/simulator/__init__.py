"""An independent simulator of months of trade at a bar, with the truth beside it.

It measures the matcher, the ledger and the findings, and knows nothing of how they work: it shares
with the project only the units, the business day and the plain types that matching takes in. All
names are invented; all rates stand in ``rates.toml`` with a comment each.

    from datetime import date
    from simulator import score_pairs, simulate, to_matching

    month = simulate(7, days=30, start=date(2026, 10, 10), losses={"samples": 1, "leak": 0.5})
    pours, units, sizes, bounds = to_matching(month, date(2026, 10, 31), "Main floor")
    ...                                    # match them
    score_pairs(month, matched.serves)     # how many pairs are right
    unpaired(month, date(2026, 10, 31), "Main floor")   # µL a perfect matcher leaves, by product
    row = month.truth.rows[date(2026, 10, 31), "Main floor", "Ostrel Lager"]
    row.poured_not_rung, row.by_cause      # what a perfect ledger would say

    write_exports(month, folder)           # the same month as a config folder with its exports

What a month holds
    pours, rings, log, kegs  what the exports say (rows that a feed lost are gone, see ``gaps``)
    menu, taps               what the config says
    serves, units            what was in truth: each serve and each unit rung, and who belongs to whom
    truth.rows               per business day, pool (or outlet) and product of the tap list, in µL:
        poured = matched_portion + sum(difference.values()) + logged + not_beer + not_compared
                 + poured_not_rung, and poured_not_rung = sum(by_cause.values()), exactly
    truth.cause_ul(name)     volume of one loss over the month
    clock                    till minus meter, by time

A pair belongs to the day in which its serve ended, whole. ``losses="none"`` is a clean month: each
pour has its ring, stands in the log, or lies within a keg's allowance. Voids, split checks,
top-ups, comps, training lines, refunds, clean lines and late tabs are ordinary trade and occur in
every month. Some losses show otherwise than as poured-not-rung: ``portion_setting``,
``portion_drift``, ``top_ups``, ``wrong_size`` and ``meter_calibration`` as a difference of matched
serves, ``feed_gap`` as not compared, ``clock_offset`` in ``clock``, ``keg_short_fill`` in ``kegs``.
``tap_list`` and ``mis_ring`` have a ring too, of another product: the truth calls the pour not
rung and the ring not poured, even where a like ring near by could stand in for it.

Parts of the bar draw from random streams of their own, so that a month with a loss is the same
month as without it, but for the loss and what follows from it; and a stronger loss holds every
event of a weaker one.

Venues (``VENUES``): standard (12 taps, two pooled outlets and one alone), small (one bar, 4 taps),
dining (mostly table service), rush (a stand with sharp peaks), late (trade across 04:00).
Lag families: "counter_table" and "second" (see ``lags.py``). Clocks: exact, steady, drift, jump.
Keys of pours and units: see ``bridge.py``.
"""

from __future__ import annotations

from simulator.bridge import DayInput, sizes_of, to_matching, whole_units
from simulator.exports import write_exports
from simulator.losses import LOSSES, UNRUNG_CAUSES
from simulator.month import SimMonth, simulate
from simulator.score import PairScore, mates_of, score_pairs, serves_of, unpaired
from simulator.venues import VENUES

__all__ = [
    "LOSSES", "UNRUNG_CAUSES", "VENUES", "DayInput", "PairScore", "SimMonth", "mates_of",
    "score_pairs", "serves_of", "simulate", "sizes_of", "to_matching", "unpaired", "whole_units",
    "write_exports",
]
