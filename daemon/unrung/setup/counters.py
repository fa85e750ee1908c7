"""Meters that write a running total in place of pours: seen by totals that never fall."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise

from unrung.records import AnyRecord, Pour, Reading
from unrung.setup.columns import by_name
from unrung.setup.draft import Draft
from unrung.setup.money import form_of
from unrung.setup.numbers import NumberForm, value

_ONE_FLOW_MS = 30_000
"""Rises so close together are of one pour."""


def become_readings(draft: Draft) -> None:
    """Make a draft of pours one of readings, where its amounts are running totals."""
    amount = next((name for name in ("volume", "pulses") if name in draft.fields), None)
    if amount is None or not {"tap", "meter"} & draft.fields.keys() or not _runs_on(draft, amount):
        return
    fields = draft.fields
    where = fields.pop("tap", None) or fields.pop("meter", None)
    when = fields.pop("end", None) or fields.pop("start", None)
    if where is None or when is None:
        return
    draft.carries = "readings"
    draft.fields = {"meter": where, "at": when, "total" if amount == "volume" else "pulses": fields[amount]}
    if "id" in fields:
        draft.fields["id"] = fields["id"]
    draft.why["carries"] = "the amounts are running totals: they never fall"


def steps(draft: Draft, field: str) -> list[float]:
    """What flowed between one reading and the next, where anything did."""
    return [later - earlier for mine in _by_meter(draft, field) for earlier, later in pairwise(mine)
            if later > earlier]


def flows(records: Iterable[AnyRecord]) -> list[AnyRecord]:
    """Readings as the pours between them, for setup to look at; other records as they are."""
    by_meter: dict[str, list[Reading]] = defaultdict(list)
    found: list[AnyRecord] = []
    for record in records:
        if isinstance(record, Reading):
            by_meter[record.meter].append(record)
        else:
            found.append(record)
    for meter, mine in by_meter.items():
        found += _rises(meter, sorted(mine, key=lambda reading: reading.at_ms))
    return found


def _rises(meter: str, readings: Sequence[Reading]) -> list[Pour]:
    pours: list[Pour] = []
    for earlier, later in pairwise(readings):
        amounts = []
        for before, after in ((earlier.total_ul, later.total_ul), (earlier.pulses, later.pulses)):
            amounts.append(None if before is None or after is None else after - before)
        if not any(amount and amount > 0 for amount in amounts):
            continue
        last = pours[-1] if pours else None
        if last is not None and last.end_ms == earlier.at_ms and later.at_ms - earlier.at_ms < _ONE_FLOW_MS:
            pours[-1] = last.model_copy(update={
                "end_ms": later.at_ms, "volume_ul": _sum(last.volume_ul, amounts[0]),
                "pulses": _sum(last.pulses, amounts[1]),
            })
        else:
            pours.append(Pour(
                line=later.line, tap=meter, start_ms=earlier.at_ms, end_ms=later.at_ms,
                at_text=later.at_text, volume_ul=amounts[0], pulses=amounts[1],
            ))
    return pours


def _sum(one: int | None, other: int | None) -> int | None:
    return None if one is None or other is None else one + other


def _runs_on(draft: Draft, amount: str) -> bool:
    """Whether the amounts of (nearly) every meter only rise, row after row, and far."""
    rising = falling = 0
    for mine in _by_meter(draft, amount):
        rising += sum(later >= earlier for earlier, later in pairwise(mine))
        falling += sum(later < earlier for earlier, later in pairwise(mine))
    return rising >= 20 and falling <= 0.03 * rising


def _by_meter(draft: Draft, field: str) -> list[list[float]]:
    """Each meter's amounts in the order of the rows, file after file, repeated rows once."""
    column = by_name(draft.facts, draft.fields[field][0]).column
    form = NumberForm() if column.exact_numbers else form_of(draft)
    names = next(draft.texts(name) for name in ("tap", "meter") if name in draft.fields)
    found: dict[str, list[float]] = defaultdict(list)
    for name, text in zip(names, column.texts, strict=True):
        number = value(text, form)
        if number is not None and (not found[name] or number != found[name][-1]):
            found[name].append(float(number))
    return list(found.values())
