"""How right a matcher's pairs and totals are, against the truth of the month."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from simulator.bridge import set_aside
from simulator.model import SimPour
from simulator.month import SimMonth
from unrung.matching.types import Serve


class PairScore(NamedTuple):
    """Counts over the serves that a matcher gave back."""

    pairs: int
    right: int
    """Paired with a unit rung for it, or for a like glass of the same round."""
    wrong: int
    missed: int
    """Truly rung serves (the larger part of a given serve) left without a unit."""


def score_pairs(month: SimMonth, serves: Sequence[Serve]) -> PairScore:
    """How many pairs are right. A given serve counts as the true serve that most of its volume
    belongs to, leaks and foam as none."""
    pours = month.index.setdefault("pours", {})
    if not pours:
        pours.update({pour.id: pour for pour in month.pours})
    rung = {serve.id for serve in month.serves if serve.unit_id is not None and not serve.cause}
    pairs = right = missed = 0
    for serve in serves:
        true_ids = _likely_serves(pours, serve)
        if serve.unit_key is None:
            missed += bool(true_ids & rung)
            continue
        pairs += 1
        right += bool(true_ids & mates_of(month, serve.unit_key))
    return PairScore(pairs, right, pairs - right, missed)


def _likely_serves(pours: dict[int, object], serve: Serve) -> set[int]:
    """The true serves that a given serve may be: where a pour filled several vessels, a part of it
    is taken for those whose volume is nearest."""
    weights: dict[int, float] = {}
    for key, ul in serve.parts:
        pour = pours[key]
        assert isinstance(pour, SimPour)
        for part in pour.parts:
            if part.serve_id is not None:
                near = ul if len(pour.parts) == 1 else ul - abs(part.volume_ul - ul)
                weights[part.serve_id] = weights.get(part.serve_id, 0.0) + near
    most = max(weights.values(), default=0.0)
    return {number for number, weight in weights.items() if weight >= most - 0.1 * abs(most)}


def unpaired(month: SimMonth, day: date, pool: str) -> dict[str, int]:
    """Product to the µL that a perfect matcher leaves without a ring on a day of a pool: loss, and
    what the log, keg changes and lost till rows explain only later. Gas and logged cleanings, which
    ``to_matching`` leaves out, are not in it."""
    found = next(d for d in month.days if d.date == day)
    table = month.index.setdefault("paired", {})
    if not table:
        table.update({s.id: s for s in month.serves if s.unit_id is not None and not s.cause})
    volumes: dict[str, int] = {}
    for pour in month.pours:
        if not found.start_ms <= pour.end_ms < found.end_ms or month.place[pour.outlet] != pool:
            continue
        if not set_aside(pour):
            alone = sum(part.volume_ul for part in pour.parts if part.serve_id not in table)
            volumes[pour.product] = volumes.get(pour.product, 0) + alone
    return volumes


def serves_of(month: SimMonth, key: int) -> frozenset[int]:
    """The serves that the unit with this key was truly rung for: like units of one line are one
    another's equals. Empty where no serve of its product answers it."""
    table = month.index.setdefault("serves", {})
    if not table:
        found: dict[int, set[int]] = {}
        for unit in month.units:
            for line, _ in unit.lines:
                if unit.serve_id is not None and not unit.why:
                    found.setdefault(line * 8 + unit.portion, set()).add(unit.serve_id)
        table.update({number: frozenset(ids) for number, ids in found.items()})
    right = table.get(key // 4096 * 8 + key % 8, frozenset())
    assert isinstance(right, frozenset)
    return right


def mates_of(month: SimMonth, key: int) -> frozenset[int]:
    """The serves of all units of the same check, product and portion rung within two minutes: a
    matcher cannot tell these apart, and need not."""
    table = month.index.setdefault("mates", {})
    if not table:
        table.update(_mates(month))
    found = table.get(key // 4096 * 8 + key % 8, frozenset())
    assert isinstance(found, frozenset)
    return found


def _mates(month: SimMonth) -> dict[int, frozenset[int]]:
    lines = {line.id: line for line in month.rings}
    groups: dict[tuple[str, str, str, int], list[tuple[int, int, int]]] = {}
    for unit in month.units:
        line = lines.get(unit.lines[0][0])
        if line and unit.serve_id is not None and not unit.why:
            key = (line.outlet, line.check.split("/")[0], unit.product, unit.portion_ul)
            groups.setdefault(key, []).append((line.at_ms, unit.serve_id, unit.id))
    by_id = {unit.id: unit for unit in month.units}
    made: dict[int, set[int]] = {}
    for group in groups.values():
        for at_ms, _, number in group:
            like = {serve for when, serve, _ in group if abs(when - at_ms) <= 120_000}
            for line_id, _ in by_id[number].lines:
                made.setdefault(line_id * 8 + by_id[number].portion, set()).update(like)
    return {key: frozenset(ids) for key, ids in made.items()}
