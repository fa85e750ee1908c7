"""Simulated days through matching, ledger and findings: files that foot, pours that know their cause."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from findings.months import ledgers, settings_of
from simulator import simulate
from unrung.findings.apply import with_findings
from unrung.findings.facts import first_day
from unrung.issue.daily import daily_files
from unrung.ledger.facts import DayFacts
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.facts import facts_between, packed, save_facts, unpacked
from unrung.store.open import open_store, write_tx


@pytest.fixture(scope="module")
def month() -> tuple[list[DayLedger], Settings]:
    """Ten days of a small bar with several causes on, each day with its findings."""
    simulated = simulate(
        3, days=10, venue="small",
        losses={"leak": 2, "serves_without_ring": 2, "samples": 3, "portion_setting": 2, "mis_ring": 3},
    )
    settings = settings_of(simulated)
    before: list[DayFacts] = []
    made = []
    for ledger in ledgers(simulated, settings):
        made.append(with_findings(ledger, before, settings))
        assert ledger.facts
        before.append(ledger.facts)
    return made, settings


def rows_of(ledger: DayLedger, settings: Settings, name: str) -> list[dict[str, str]]:
    data = daily_files(ledger, settings, 1)[f"{name}-{ledger.day.isoformat()}.csv"]
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))


def test_the_simulated_causes_are_raised(month: tuple[list[DayLedger], Settings]) -> None:
    names = {row.finding for ledger in month[0] for row in ledger.findings}
    assert {"leak", "serves_without_ring", "samples", "portion_setting"} <= names


def test_findings_and_the_unexplained_rest_sum_to_the_displayed_variance(
    month: tuple[list[DayLedger], Settings]
) -> None:
    for ledger in month[0]:
        sums: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
        for row in rows_of(ledger, month[1], "findings"):
            sums[row["outlet"], row["product"]] += Decimal(row["volume"])
        for row in rows_of(ledger, month[1], "variance"):
            assert sums.pop((row["outlet"], row["product"]), Decimal(0)) == Decimal(row["variance"])
        assert not any(sums.values())


def test_lone_pours_name_the_finding_that_explains_them(
    month: tuple[list[DayLedger], Settings]
) -> None:
    """What the list of pours says by cause is what the findings say of lone pours."""
    for ledger in month[0]:
        listed: dict[str, int] = defaultdict(int)
        for lone in ledger.lone:
            listed[lone.finding] += lone.volume_ul if lone.kind == "pour" else 0
        for name in ("leak", "samples", "serves_without_ring"):
            said = sum(row.volume_ul for row in ledger.findings if row.finding == name)
            assert listed[name] == said


def test_facts_hold_what_the_ledger_counts(month: tuple[list[DayLedger], Settings]) -> None:
    for ledger in month[0]:
        facts = ledger.facts
        assert facts is not None
        volumes = [leaf.volumes for leaf in ledger.leaves]
        assert sum(serve.left_ul for serve in facts.serves) == sum(v.poured_not_rung for v in volumes)
        assert sum(s.difference_ul for s in facts.serves) == sum(v.portion_difference for v in volumes)
        assert sum(s.portion_ul for s in facts.serves if s.paired) == sum(v.matched_portion for v in volumes)
        assert sum(s.not_compared_ul for s in facts.serves) == sum(v.poured_not_compared for v in volumes)
        assert sum(r.portion_ul for r in facts.rings if r.counted) == sum(v.rung_not_poured for v in volumes)
        assert all(sum(part[2] for part in s.parts) == s.volume_ul for s in facts.serves)


def test_the_same_days_give_the_same_findings(month: tuple[list[DayLedger], Settings]) -> None:
    ledgers_made, settings = month
    days = [ledger.facts for ledger in ledgers_made if ledger.facts]
    last = ledgers_made[-1]
    again = with_findings(replace(last, findings=()), [unpacked(packed(day)) for day in days], settings)
    assert daily_files(again, settings, 1) == daily_files(last, settings, 1)


def test_kept_facts_come_back_as_they_were_and_a_day_computed_again_replaces_its_own(
    month: tuple[list[DayLedger], Settings], tmp_path: Path
) -> None:
    days = [ledger.facts for ledger in month[0] if ledger.facts]
    db = open_store(tmp_path / "unrung.sqlite")
    with write_tx(db):
        for day in days:
            save_facts(db, day)
        changed = replace(days[3], serves=days[3].serves[:5])
        save_facts(db, changed)
    kept = facts_between(db, days[0].day, days[-1].day)
    assert kept == [*days[:3], changed, *days[4:]]
    assert facts_between(db, days[1].day, days[2].day) == days[1:3]


def test_a_window_is_four_weeks_with_its_day() -> None:
    assert first_day(date(2026, 10, 31)) == date(2026, 10, 4)
