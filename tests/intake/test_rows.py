"""What adapters give is checked where it enters, a column in one go, whichever way they give it."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from adapters.exports import export
from adapters.test_contract import CASES, ROWS, WRITERS, chosen, reader
from unrung.intake.adapter import batch_reader
from unrung.intake.rows import batches_of, checked
from unrung.records import Batch, KegEvent, LogEntry, Pour, Reading, Record, Reject, Ring
from unrung.store.movement_values import COLUMNS, columns_of, rows_of, values_of
from unrung_adapters import ADAPTERS, BATCHES, csv_rows, json_rows

KINDS: dict[str, type[Record]] = {
    "rings": Ring, "pours": Pour, "readings": Reading, "kegs": KegEvent, "log": LogEntry,
}


def rows(batches: list[Batch]) -> list[tuple[Any, ...]]:
    """Every row of the store that batches come to."""
    columns = checked(batches)
    return rows_of(columns, "feed", [b""] * len(columns["line"]), 1)


def test_every_built_in_adapter_gives_batches() -> None:
    assert set(BATCHES) == set(ADAPTERS)


@pytest.mark.parametrize(("adapter", "carries"), CASES)
def test_rows_given_in_batches_and_one_after_the_other_are_the_same(
    adapter: str, carries: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In several batches too, with bad rows in between, in the order of the file."""
    bad = {name: "?" for name in ROWS[carries][0]}
    some = [*ROWS[carries], bad] * 20
    monkeypatch.setattr(csv_rows, "ROWS", 7)
    monkeypatch.setattr(json_rows, "ROWS", 7)
    given = export(WRITERS[adapter](some)), chosen(adapter, carries)
    batches = list(batch_reader(adapter)(*given))
    records = list(reader(adapter)(*given))
    assert len(batches) > 1 and {batch.kind for batch in batches} == {KINDS[carries]}
    assert rows(batches) == rows(list(batches_of(records)))
    assert rows(batches) == [
        values_of(record, "feed", b"", 1) for record in records if not isinstance(record, Reject)]
    assert [reject for batch in batches for reject in batch.rejects] == [
        record for record in records if isinstance(record, Reject)]
    lines = [record.line for record in records]
    assert lines == sorted(lines) and len(lines) == len(some)


@pytest.mark.parametrize("kind", KINDS.values())
def test_a_field_that_is_left_out_has_its_default(kind: type[Record]) -> None:
    needed = {"at_ms": 1, "start_ms": 1, "end_ms": 2, "at_text": "1", "item": "Amber", "tap": "1",
              "meter": "1", "kind": "on" if kind is KegEvent else "comp", "reason": "waste"}
    whole: Any = kind(line=2, **{name: needed[name] for name in needed if name in kind.model_fields})
    fields = {name: [getattr(whole, name)] for name in whole.model_fields_set}
    assert rows_of(columns_of(kind, fields), "feed", [b"x"], 1) == [values_of(whole, "feed", b"x", 1)]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"line": [2], "at_ms": ["soon"], "at_text": [""], "item": ["Amber"]}, "integer"),
        ({"line": [2], "at_ms": [1], "at_text": [None], "item": ["Amber"]}, "string"),
        ({"line": [2], "at_ms": [1], "at_text": [""], "item": ["Amber"], "kind": ["gift"]}, "'sale', 'void'"),
        ({"line": [2], "at_ms": [1], "at_text": [""]}, "item\n.*required"),
        ({"line": [2], "at_ms": [1], "at_text": [""], "item": ["Amber"], "size_": [1]}, "size_\n.*not perm"),
        ({"line": [2, 3], "at_ms": [1], "at_text": ["", ""], "item": ["A", "B"]}, "columns of"),
    ],
)  # fmt: skip
def test_what_no_record_may_hold_does_not_enter(columns: dict[str, Any], words: str) -> None:
    with pytest.raises((ValidationError, ValueError), match=words):
        checked([Batch(Ring, columns)])


def test_nothing_comes_to_nothing() -> None:
    assert rows([]) == rows([Batch(Ring, {"line": ()})]) == []
    assert len(COLUMNS) == len(set(COLUMNS))
