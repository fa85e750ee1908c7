"""Each issued day's facts, so that a day's findings can look back without matching anew."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable
from datetime import date
from typing import Any

from sqlite_utils import Database

from unrung.ledger.facts import (
    ClockFact,
    DayFacts,
    FlowFact,
    KegFact,
    LogFact,
    RingFact,
    ServeFact,
    SilenceFact,
    TillFact,
)

_KINDS = {
    "rings": RingFact, "flows": FlowFact, "kegs": KegFact, "logs": LogFact, "clocks": ClockFact,
    "silences": SilenceFact,
}

_PARTS = ServeFact._fields.index("parts")
_TEXTS = tuple(map(ServeFact._fields.index, ("outlet", "product", "tap", "item", "size", "reason")))


_LAST_READ: dict[bytes, DayFacts] = {}
"""What was read last, or written since. Days issued one after the other look back over nearly the same days,
which are not unpacked again; a megabyte a busy day, so none is kept longer."""


def save_facts(db: Database, facts: DayFacts) -> None:
    """Keep a day's facts in place of what was known of it; inside the caller's transaction."""
    content = packed(facts)
    _LAST_READ[content] = facts
    db.execute(
        "INSERT INTO day_facts (day, facts) VALUES (?, ?) "
        "ON CONFLICT (day) DO UPDATE SET facts = excluded.facts",
        [facts.day.isoformat(), content],
    )


def facts_between(db: Database, first: date, last: date) -> list[DayFacts]:
    """Facts of the issued business days first..last, in order."""
    rows = db.execute(
        "SELECT facts FROM day_facts WHERE day BETWEEN ? AND ? ORDER BY day",
        [first.isoformat(), last.isoformat()],
    ).fetchall()
    found = {content: _LAST_READ.get(content) or unpacked(content) for (content,) in rows}
    _LAST_READ.clear()
    _LAST_READ.update(found)
    return list(found.values())


def facts_digest(db: Database, first: date, last: date) -> str:
    """Of the facts of the issued business days first..last."""
    whole = hashlib.sha256()
    for day, content in db.execute(
        "SELECT day, facts FROM day_facts WHERE day BETWEEN ? AND ? ORDER BY day",
        [first.isoformat(), last.isoformat()],
    ):
        whole.update(f"{day} {len(content)} ".encode() + content)
    return whole.hexdigest()


def packed(facts: DayFacts) -> bytes:
    """A day's facts as bytes; about 20 kB for a thousand serves."""
    content = {
        "day": facts.day.isoformat(), "bounds": facts.bounds, "serves": facts.serves,
        "till": facts.till, "missing": facts.missing,
        **{name: getattr(facts, name) for name in _KINDS},
    }
    return zlib.compress(json.dumps(content, separators=(",", ":")).encode("utf-8"))


def unpacked(content: bytes) -> DayFacts:
    """The facts that ``packed`` made bytes of."""
    read = json.loads(zlib.decompress(content))
    low, high = read["bounds"]
    return DayFacts(
        day=date.fromisoformat(read["day"]), bounds=(low, high),
        serves=_serves(read["serves"]),
        till=tuple(TillFact(outlet, name, tuple(times)) for outlet, name, times in read["till"]),
        missing=tuple(read["missing"]),
        **{name: tuple(kind(*row) for row in read[name]) for name, kind in _KINDS.items()},
    )


def _serves(rows: list[list[Any]]) -> tuple[ServeFact, ...]:
    """Made field by field, which takes less time than serve by serve; a text that recurs is kept once."""
    if not rows:
        return ()
    fields: list[Iterable[Any]] = list(zip(*rows, strict=True))
    texts: dict[str, str] = {}
    for place in _TEXTS:
        fields[place] = map(texts.setdefault, fields[place], fields[place])
    fields[_PARTS] = [tuple(map(tuple, parts)) for parts in fields[_PARTS]]
    return tuple(map(ServeFact._make, zip(*fields, strict=True)))
