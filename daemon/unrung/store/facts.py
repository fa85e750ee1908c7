"""Each issued day's facts, so that a day's findings can look back without matching anew."""

from __future__ import annotations

import hashlib
import json
import sys
import zlib
from array import array
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from itertools import accumulate, chain, pairwise
from typing import Any

from sqlite_utils import Database

from unrung import __version__
from unrung.findings import drawn
from unrung.ledger.facts import (
    ClockFact,
    Columns,
    DayFacts,
    FlowFact,
    KegFact,
    LogFact,
    RingFact,
    ServeFact,
    SilenceFact,
    TillFact,
    columns_of,
    of_columns,
)

_KINDS = {
    "rings": RingFact, "flows": FlowFact, "kegs": KegFact, "logs": LogFact, "clocks": ClockFact,
    "silences": SilenceFact,
}

_TEXTS = ("outlet", "product", "tap", "item", "size", "reason")
_FLAGS = ("voided", "comp", "uncertain", "other_size")
_NUMBERS = tuple(name for name in ServeFact._fields if name not in (*_TEXTS, *_FLAGS, "parts"))
_PARTS = ServeFact._fields.index("parts")
Part = tuple[int, int, int]
LEVEL = 3
"""Packs as much as zlib's usual level, but for a twentieth, in half the time."""

_LAST_READ: dict[bytes, DayFacts] = {}
"""What was read last, or written since. Days issued one after the other look back over nearly the same days,
which are not unpacked again; a megabyte a busy day, so none is kept longer."""


def save_facts(db: Database, facts: DayFacts) -> None:
    """Keep a day's facts in place of what was known of it; inside the caller's transaction."""
    content, known = _in_bytes(facts)
    _LAST_READ[content] = facts
    db.execute(
        "INSERT INTO day_facts (day, facts, drawn, drawn_of) VALUES (?, ?, ?, ?) ON CONFLICT (day) DO UPDATE "
        "SET facts = excluded.facts, drawn = excluded.drawn, drawn_of = excluded.drawn_of",
        [facts.day.isoformat(), content, known, _drawn_of(content)],
    )


def in_bytes(facts: DayFacts) -> DayFacts:
    """The same day with the bytes that ``save_facts`` keeps of it, and nothing else that was made of it."""
    content, known = _in_bytes(facts)
    alone = replace(facts)
    alone.once("packed", None, lambda: content)
    alone.once("drawn", None, lambda: known)
    return alone


def _in_bytes(facts: DayFacts) -> tuple[bytes, bytes]:
    content = facts.once("packed", None, partial(packed, facts))
    return content, facts.once("drawn", None, partial(drawn.packed, facts))


def _drawn_of(content: bytes) -> str:
    """Of which facts, and by which program and rules, something was drawn: by others it may be different."""
    return f"{zlib.crc32(content):08x} {__version__} {drawn.RULES}"


def facts_between(db: Database, first: date, last: date) -> list[DayFacts]:
    """Facts of the issued business days first..last, in order."""
    rows = db.execute(
        "SELECT facts, drawn, drawn_of FROM day_facts WHERE day BETWEEN ? AND ? ORDER BY day",
        [first.isoformat(), last.isoformat()],
    ).fetchall()
    found = {content: _LAST_READ.get(content) or _read_back(content, *known) for content, *known in rows}
    _LAST_READ.clear()
    _LAST_READ.update(found)
    return list(found.values())


def _read_back(content: bytes, known: bytes, drawn_of: str) -> DayFacts:
    facts = unpacked(content)
    if drawn_of == _drawn_of(content):
        facts.once("drawn", None, lambda: known)
    return facts


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
    """A day's facts as bytes; about 25 kB for a thousand serves.

    Serves as columns of numbers, which take a third of the time of texts to read: after the length and the
    text of a JSON object come ``_NUMBERS``, the starts, ends and volumes of all parts, ``_TEXTS`` as places
    in the object's ``texts``, ``_FLAGS``, and how many parts each serve has."""
    fields = dict(zip(ServeFact._fields, facts.columns(), strict=True))
    parts = [*chain.from_iterable(fields["parts"])]
    texts: dict[str, int] = {}
    columns = [
        array("q", [*chain(*(fields[name] for name in _NUMBERS), *zip(*parts, strict=True))]),
        array("I", _places(texts, [fields[name] for name in _TEXTS])),
        array("B", [*chain(*(fields[name] for name in _FLAGS))]),
        array("I", [*map(len, fields["parts"])]),
    ]
    told = {
        "day": facts.day.isoformat(), "bounds": facts.bounds, "serves": len(facts.serves),
        "parts": len(parts), "texts": list(texts), "till": facts.till, "missing": facts.missing,
        **{name: getattr(facts, name) for name in _KINDS},
    }
    text = json.dumps(told, separators=(",", ":")).encode("utf-8")
    whole = [len(text).to_bytes(4, "little"), text, *(_little(column).tobytes() for column in columns)]
    return zlib.compress(b"".join(whole), LEVEL)


def _places(texts: dict[str, int], columns: Sequence[Sequence[str]]) -> list[int]:
    """The texts of ``columns`` as places in ``texts``, which those that it lacks are added to."""
    for column in columns:
        for text in dict.fromkeys(column):
            texts.setdefault(text, len(texts))
    return [*map(texts.__getitem__, chain(*columns))]


def unpacked(content: bytes) -> DayFacts:
    """The facts that ``packed`` made bytes of; or an earlier version, which wrote nothing but JSON."""
    whole = zlib.decompress(content)
    if whole[:1] == b"{":
        read = json.loads(whole)
        rows = [(*row[:_PARTS], tuple(map(tuple, row[_PARTS])), *row[_PARTS + 1 :]) for row in read["serves"]]
        columns = columns_of(rows)
    else:
        end = 4 + int.from_bytes(whole[:4], "little")
        read = json.loads(whole[4:end])
        columns = _columns(whole[end:], read["serves"], read["parts"], read["texts"])
    low, high = read["bounds"]
    return of_columns(
        columns, day=date.fromisoformat(read["day"]), bounds=(low, high),
        till=tuple(TillFact(outlet, name, tuple(times)) for outlet, name, times in read["till"]),
        missing=tuple(read["missing"]),
        **{name: tuple(kind(*row) for row in read[name]) for name, kind in _KINDS.items()},
    )


def _columns(content: bytes, serves: int, parts: int, texts: Sequence[str]) -> Columns:
    own = len(_NUMBERS) * serves
    sizes = (8 * (own + 3 * parts), 4 * len(_TEXTS) * serves, len(_FLAGS) * serves, 4 * serves)
    ends = accumulate(sizes, initial=0)
    numbers, places, flags, counts = (
        _read(kind, content[low:high]) for kind, (low, high) in zip("qIBI", pairwise(ends), strict=True)
    )
    each = list(zip(*(numbers[own + n * parts : own + (n + 1) * parts] for n in range(3)), strict=True))
    fields: dict[str, Sequence[Any]] = {"parts": _shared(each, counts)}
    told, true = [*map(texts.__getitem__, places)], [*map(bool, flags)]
    columns_of: list[tuple[Sequence[str], Sequence[Any]]] = [
        (_NUMBERS, numbers), (_TEXTS, told), (_FLAGS, true)
    ]
    for names, values in columns_of:
        for number, name in enumerate(names):
            fields[name] = values[number * serves : (number + 1) * serves]
    return [fields[name] for name in ServeFact._fields]


def _shared(parts: Sequence[Part], counts: Sequence[int]) -> list[tuple[Part, ...]]:
    """The parts of each serve; nearly all have one."""
    found: list[tuple[Part, ...]] = []
    alone, at = list(zip(parts)), 0
    for serve in [number for number, count in enumerate(counts) if count != 1]:
        until = at + serve - len(found)
        found += alone[at:until]
        at = until + counts[serve]
        found.append(tuple(parts[until:at]))
    return found + alone[at:]


def _read(kind: str, content: bytes) -> list[int]:
    column = array(kind)
    column.frombytes(content)
    return _little(column).tolist()


def _little(column: array[int]) -> array[int]:
    """The column with its lowest bytes first, on any machine; or back."""
    if sys.byteorder == "big":
        column.byteswap()
    return column
