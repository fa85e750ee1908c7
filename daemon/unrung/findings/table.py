"""Every finding, in the order in which they are made: what explains more surely goes first.

Each takes out of the facts what it explains, so that no microlitre is explained twice and the last
one is never raised for what another explains better. They are shown in another order (``SHOWN``):
equipment, settings, procedure, then the talk with the team.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from unrung.finding_names import SHOWN
from unrung.findings import (
    clock_offset,
    feed_gap,
    keg_change_loss,
    keg_short_fill,
    leak,
    meter_calibration,
    mis_ring,
    portion_drift,
    portion_setting,
    samples,
    serves_without_ring,
    tap_list,
    top_ups,
    unlogged_cleaning,
    wrong_size,
)
from unrung.findings.drawn import recall
from unrung.findings.facts import Facts, facts_of
from unrung.findings.finding import Finding, rows_of
from unrung.ledger.facts import DayFacts
from unrung.ledger.results import FindingRow
from unrung.settings import Settings

Find = Callable[[Facts, Settings], list[Finding]]

TABLE: dict[str, Find] = {
    "leak": leak.find,
    "clock_offset": clock_offset.find,
    "meter_calibration": meter_calibration.find,
    "keg_short_fill": keg_short_fill.find,
    "tap_list": tap_list.find,
    "feed_gap": feed_gap.find,
    "keg_change_loss": keg_change_loss.find,
    "unlogged_cleaning": unlogged_cleaning.find,
    "top_ups": top_ups.find,
    "portion_drift": portion_drift.find,
    "portion_setting": portion_setting.find,
    "samples": samples.find,
    "wrong_size": wrong_size.find,
    "mis_ring": mis_ring.find,
    "serves_without_ring": serves_without_ring.find,
}


def findings_of(
    days: Sequence[DayFacts], settings: Settings,
    settled: Callable[[Finding, Facts], Finding] = lambda made, facts: made,
) -> tuple[Facts, list[Finding]]:
    """All findings over ``days`` (in order, the last is the one they are for), and what is left
    to explain. The same days give the same findings. ``settled``: a finding as it stands after the
    fixes."""
    for day in days:
        recall(day)
    facts = facts_of(days, settings)
    found: list[Finding] = []
    for find in TABLE.values():
        made = [settled(one, facts) for one in find(facts, settings)]
        found += made
        facts = facts.less((one.serves, one.rings) for one in made)
    return facts, found


def rows_of_all(facts: Facts, found: Sequence[Finding]) -> list[FindingRow]:
    """The last day's rows of all findings, in the order in which they are shown, the largest first."""
    rows = [row for one in found for row in rows_of(one, facts)]
    return sorted(rows, key=lambda row: (
        SHOWN.index(row.finding), -abs(row.volume_ul), row.outlet, row.product, row.tap))
