"""What is kept of what findings draw from a day is what they would draw from it anew."""

from __future__ import annotations

import hashlib
import pickle
import zlib
from collections.abc import Callable
from dataclasses import replace

import pytest

from findings.test_causes import COSTS, LAST, SETTINGS, serves_without_ring
from findings.trade import alone, at, ordinary, ring, with_rings, with_serves
from unrung.findings import drawn
from unrung.findings.table import findings_of
from unrung.ledger.facts import DayFacts

DRAWN_BY = 1, "8adc55e0b68ba8d6"
"""What the rules of that number draw from the days below. Where it comes out otherwise, ``drawn.RULES`` is to
be raised too: else a store goes on with what the earlier rules drew."""

Cause = Callable[[], list[DayFacts]]


def silent_meter() -> list[DayFacts]:
    """An evening on which a tap's meter pauses while its beer is rung."""
    days = ordinary()
    kept = [s for s in days[LAST].serves if s.tap != "T2" or not at(LAST, 18) <= s.end_ms < at(LAST, 23)]
    days[LAST] = replace(days[LAST], serves=tuple(kept))
    return with_rings(days, (ring("T2", at(LAST, 18.5 + n / 4)) for n in range(16)))


def second_goes() -> list[DayFacts]:
    """Small flows right after glasses, and beside one that lacks as much."""
    days = ordinary()
    gone = [one for one in days[LAST].serves if one.tap == "T1"][::4]
    return with_serves(days, (alone("T1", one.end_ms + 20_000, 2) for one in gone))


CAUSES: tuple[Cause, ...] = (*COSTS, silent_meter, second_goes)


def kept(day: DayFacts) -> DayFacts:
    """A day just like it, as it is read back: with what was drawn from it."""
    again = replace(day)
    content = drawn.packed(replace(day))
    again.once("drawn", None, lambda: content)
    return again


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.__name__)
def test_findings_are_the_same_and_nothing_is_drawn_twice(
    cause: Cause, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = cause()
    _, found = findings_of([replace(day) for day in days], SETTINGS)
    again = [kept(day) for day in days]
    for day in again:
        drawn.recall(day)
    monkeypatch.setattr(DayFacts, "once", refusing(DayFacts.once))
    assert findings_of(again, SETTINGS)[1] == found


def refusing(once: Callable[..., object]) -> Callable[..., object]:
    """``once`` that makes nothing that is kept."""
    def known(day: DayFacts, name: str, given: object, make: Callable[[], object]) -> object:
        assert name not in drawn.KEPT or day.known(name) is not None, name
        return once(day, name, given, make)

    return known


def test_what_is_kept_comes_back_as_it_was() -> None:
    some = set[str]()
    for cause in CAUSES:
        for day in cause():
            again = kept(day)
            drawn.recall(again)
            for name, one in drawn.KEPT.items():
                fresh = one.made(replace(day))
                assert repr(again.known(name)) == repr(fresh)
                some |= {name} if fresh else set()
    assert some == set(drawn.KEPT)


def test_findings_ask_for_all_that_is_kept() -> None:
    (*_, last) = days = serves_without_ring()
    findings_of(days, SETTINGS)
    assert [name for name in drawn.KEPT if last.known(name) is None] == []


def test_a_day_that_changed_keeps_nothing_that_was_drawn_from_it_before() -> None:
    day = kept(ordinary(1)[0])
    drawn.recall(day)
    changed = replace(day, serves=day.serves[:5])
    assert changed.known("drawn") is None and changed.known("glasses") is None


def test_bytes_go_along_to_another_process_and_all_else_is_made_there() -> None:
    day = kept(ordinary(1)[0])
    drawn.recall(day)
    there: DayFacts = pickle.loads(pickle.dumps(day))
    assert there == day and there.known("drawn") == day.known("drawn")
    assert there.known("glasses") is None
    drawn.recall(there)
    assert repr(there.known("glasses")) == repr(day.known("glasses"))


def test_other_rules_have_another_number() -> None:
    told = hashlib.sha256()
    for cause in CAUSES:
        told.update(b"".join(zlib.decompress(drawn.packed(day)) for day in cause()))
    assert (drawn.RULES, told.hexdigest()[:16]) == DRAWN_BY
