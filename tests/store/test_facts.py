"""A day's facts come back from the store as they went in, whichever version kept them."""

from __future__ import annotations

import json
import zlib
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from unrung.ledger.facts import ClockFact, DayFacts, RingFact, ServeFact, TillFact
from unrung.store.facts import packed, unpacked

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
    clocks=st.lists(st.builds(ClockFact, names, moments, moments, moments, moments), max_size=2).map(tuple),
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


def test_a_busy_day_takes_little_room() -> None:
    """Thousands of days are kept for as long as findings look back, and longer."""
    serves = tuple(
        ServeFact("Bar", f"Beer {n % 12}", f"T{n % 12}", at, at + 8_000, 473_176 + n * 7919 % 9973,
                  ((at, at + 8_000, 473_176 + n * 7919 % 9973),), 473_176, "Pint", "", at + 30_000)
        for n in range(1_000) for at in [1_749_600_000_000 + n * 31_337]
    )
    bounds = (1_749_600_000_000, 1_749_686_400_000)
    assert len(packed(DayFacts(date(2025, 6, 10), bounds, serves))) < 40_000
