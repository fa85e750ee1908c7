"""A day's facts come back from the store as they went in, whichever version kept them."""

from __future__ import annotations

import json
import sqlite3
import zlib
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unrung.findings import drawn
from unrung.ledger.facts import ClockFact, DayFacts, RingFact, ServeFact, TillFact
from unrung.store import facts
from unrung.store.facts import facts_between, in_bytes, packed, save_facts, unpacked
from unrung.store.open import Store, open_store, write_tx
from unrung.store.schema import APPLICATION_ID, migrations

few = settings(max_examples=30)
moments = st.integers(-(2**62), 2**62)
names = st.text(max_size=8)
parts = st.lists(st.tuples(moments, moments, moments), max_size=4).map(tuple)
serves = st.builds(
    ServeFact, names, names, names, moments, moments, moments, parts, moments, names, names, moments,
    st.booleans(), st.booleans(), st.booleans(), st.booleans(), moments, moments, names,
)
days = st.builds(
    DayFacts, st.dates(), st.tuples(moments, moments), st.lists(serves, max_size=6).map(tuple),
    st.lists(st.builds(RingFact, names, names, names, names, moments, moments, names, moments, moments,
                       st.booleans()), max_size=3).map(tuple),
    clocks=st.lists(st.builds(ClockFact, names, *[moments] * 5), max_size=2).map(tuple),
    till=st.lists(st.builds(TillFact, names, names, st.lists(moments, max_size=5).map(tuple)),
                  max_size=2).map(tuple),
    missing=st.lists(names, max_size=2).map(tuple),
)


@few
@given(days)
def test_facts_come_back_as_they_were(day: DayFacts) -> None:
    again = unpacked(packed(day))
    assert again == day
    assert repr(again) == repr(day), "a flag came back as a number, or a tuple as a list"
    assert packed(again) == packed(day)


@few
@given(days)
def test_facts_that_an_earlier_version_kept_are_read(day: DayFacts) -> None:
    kinds = ("rings", "flows", "kegs", "logs", "clocks", "silences", "till", "missing", "bounds", "serves")
    content = {"day": day.day.isoformat(), **{name: getattr(day, name) for name in kinds}}
    earlier = zlib.compress(json.dumps(content, separators=(",", ":")).encode("utf-8"))
    assert repr(unpacked(earlier)) == repr(day)


AT = 1_749_600_000_000
DAY = DayFacts(date(2025, 6, 10), (AT, AT + 86_400_000), tuple(
    ServeFact("Bar", "Ale", f"T{n % 2}", at, at + 8_000, 470_000 + n, ((at, at + 8_000, 470_000 + n),),
              473_176, "Pint", "", at + 30_000)
    for n in range(40) for at in [AT + 60_000 * n]
))


def test_a_busy_day_takes_little_room() -> None:
    """Thousands of days are kept for as long as findings look back, and longer."""
    serves = tuple(
        ServeFact("Bar", f"Beer {n % 12}", f"T{n % 12}", at, at + 8_000, 473_176 + n * 7919 % 9973,
                  ((at, at + 8_000, 473_176 + n * 7919 % 9973),), 473_176, "Pint", "", at + 30_000)
        for n in range(1_000) for at in [1_749_600_000_000 + n * 31_337]
    )
    bounds = (1_749_600_000_000, 1_749_686_400_000)
    assert len(packed(DayFacts(date(2025, 6, 10), bounds, serves))) < 40_000


def test_what_was_drawn_from_a_day_comes_back_with_it_unless_by_other_rules_or_from_other_facts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    db = open_store(tmp_path / "unrung.sqlite")
    with write_tx(db):
        save_facts(db, DAY)
    assert read_anew(db).known("drawn") == drawn.packed(DAY)
    with monkeypatch.context() as patch:
        patch.setattr(drawn, "RULES", drawn.RULES + 1)
        assert read_anew(db).known("drawn") is None
    with monkeypatch.context() as patch:
        patch.setattr(facts, "__version__", "another")
        assert read_anew(db).known("drawn") is None
    with write_tx(db):
        db.execute("UPDATE day_facts SET facts = ?", [packed(replace(DAY, missing=("the till",)))])
    assert read_anew(db).known("drawn") is None
    with write_tx(db):
        save_facts(db, replace(DAY, missing=("the till",)))
    assert read_anew(db).known("drawn") is not None
    db.close()


def test_a_store_that_kept_nothing_drawn_goes_on_with_its_facts(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    db = Store(sqlite3.connect(path), path)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    migrations.apply(db, stop_before="m005_what_findings_draw_from_a_day")
    db.execute("INSERT INTO day_facts (day, facts) VALUES (?, ?)", [DAY.day.isoformat(), packed(DAY)])
    db.execute("PRAGMA user_version = 4")
    db.commit()
    db.close()
    with closing(open_store(path)) as db:
        again = read_anew(db)
        assert again == DAY and again.known("drawn") is None


def test_a_day_is_put_in_bytes_once_and_keeps_nothing_else_that_was_made_of_it(tmp_path: Path) -> None:
    made = in_bytes(DAY)
    assert made == DAY and made.known("columns") is None
    with closing(open_store(tmp_path / "unrung.sqlite")) as db:
        with write_tx(db):
            save_facts(db, made)
        (row,) = db.execute("SELECT facts, drawn FROM day_facts").fetchall()
    assert row == (packed(DAY), drawn.packed(DAY))
    assert (made.known("packed"), made.known("drawn")) == row


def read_anew(db: Store) -> DayFacts:
    facts._LAST_READ.clear()
    (day,) = facts_between(db, DAY.day, DAY.day)
    return day
