"""What makes a row that row, so that a file taken twice changes nothing and no sale is lost.

With an id of the source: (feed, id). Without one: (feed, raw text of the mapped cells, ordinal
among equals in that file), since two equal pints in one minute are two sales. Where exports only
append, equal rows of two files are two rows, so the file is part of the identity too: its name, and
where a till writes file after file under one name, its contents. A copy under another name, mended or
grown, is the file that it is a copy of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, NamedTuple

from unrung.intake.rows import only
from unrung.records import Reject
from unrung.settings import Feed
from unrung.store.movement_values import Columns, column
from unrung.store.movements import share_known
from unrung.store.open import Store
from unrung.store.sources import SourceRow, newest_named, of_the_same_time

_ENOUGH = 20
"""Rows from which two files that share nearly all of them are no accident."""
_NEARLY_ALL = 0.9


@dataclass(frozen=True, slots=True)
class Identified:
    """Rows with their identities (16 bytes each), and those whose id was used before."""

    rows: Columns
    idents: list[bytes]
    clashes: list[Reject]
    repeats: int
    """Rows that repeat an id with equal contents within the export."""


class Read(NamedTuple):
    """An export as it was read ahead of its turn."""

    rows: Columns
    rejects: list[Reject]
    notes: Any
    """The reader's (``intake.adapter.read_rows``)."""
    found: Identified | None
    """Its rows with their identities, where all have an id of their source."""


def identified_by_ids(feed: Feed, rows: Columns) -> Identified | None:
    """The rows of an export with their identities, where all have an id of their source: in any scope."""
    return None if "" in column(rows, "ref") else identify(feed, "", rows)


def identify(feed: Feed, scope: str, rows: Columns) -> Identified:
    """Give every row of an export its identity; ``scope`` as ``file_scope`` has it."""
    refs = column(rows, "ref")
    if "" not in refs and len(set(refs)) == len(refs):  # as is usual: no two can clash
        return Identified(rows, _digests("i", feed.name, refs), [], 0)
    raws, versions = column(rows, "raw"), column(rows, "version")
    kept, clashes, repeats = list[int](), list[Reject](), 0
    by_ref: dict[str, int] = {}
    places: dict[str, int] = {}
    for number, ref in enumerate(refs):
        first = by_ref.setdefault(ref, number) if ref else number
        if first == number:
            places[ref] = len(kept)
            kept.append(number)
        elif raws[first] == raws[number]:
            repeats += 1
        elif versions[first] != versions[number]:
            if _higher(versions[number], versions[first]):
                by_ref[ref] = kept[places[ref]] = number
        else:
            clashes.append(_clash(rows, first, number))
    if len(kept) < len(refs) or clashes:
        rows = only(rows, kept)
    return Identified(rows, _idents(feed, scope, rows), clashes, repeats)


def _idents(feed: Feed, scope: str, rows: Columns) -> list[bytes]:
    """By the id, else by the raw text and how often it stood in the export before."""
    refs, raws = column(rows, "ref"), column(rows, "raw")
    idents = _digests("i", feed.name, refs)
    bare = [number for number, ref in enumerate(refs) if not ref]
    equal: Counter[str] = Counter()
    texts = []
    for number in bare:
        texts.append(f"{raws[number]}\x1f{equal[raws[number]]}")
        equal[raws[number]] += 1
    for number, ident in zip(bare, _digests("x", f"{feed.name}\x1f{scope}\x1f", texts), strict=True):
        idents[number] = ident
    return idents


def file_scope(db: Store, feed: Feed, name: str, rows: Columns, sha256: str) -> str:
    """Which file the rows of an ``append`` feed belong to; empty for the other feeds.

    A file that shares more than half of its rows with the last one of its name is that file, grown
    or mended. Else it is another one, and a row of it that equals one of the last is another row. A file
    of a new name that shares nearly all of them with one of the same time is that one as well.
    """
    if feed.export != "append":
        return ""
    last = newest_named(db, feed.name, name)
    if last is None:
        return _scope_of_the_same(db, feed, rows) or name
    shared, least = _shared(db, feed, rows, last)
    return last.scope if not least or 2 * shared > least else f"{name}\x1f{sha256[:16]}"


def _scope_of_the_same(db: Store, feed: Feed, rows: Columns) -> str:
    """The scope of the file of which this one is a mended copy under another name, or ""."""
    times = [at_ms for at_ms in column(rows, "at_ms") if at_ms is not None]
    if len(times) < _ENOUGH or "" not in column(rows, "ref"):
        return ""
    for other in of_the_same_time(db, feed.name, min(times), max(times)):
        shared, least = _shared(db, feed, rows, other)
        if least >= _ENOUGH and shared > _NEARLY_ALL * least:
            return other.scope
    return ""


def _shared(db: Store, feed: Feed, rows: Columns, other: SourceRow) -> tuple[int, int]:
    """How many rows without an id are those of ``other``, and how many could be at most."""
    found = identify(feed, other.scope, rows)
    refs, at_texts = column(found.rows, "ref"), column(found.rows, "at_text")
    bare = [(at_text, ident) for at_text, ident, ref in zip(at_texts, found.idents, refs, strict=True)
            if not ref]
    return share_known(db, bare) if bare else 0, min(len(bare), other.rows - other.rejected)


def ident_of(feed: Feed, ref: str) -> bytes:
    """The identity of the row with the id ``ref``."""
    return _digests("i", feed.name, [ref])[0]


def _digests(kind: str, scope: str, texts: Sequence[str]) -> list[bytes]:
    head = f"{kind}\x1e{scope}\x1e".encode("utf-8", "surrogatepass")
    return [
        blake2b(head + text.encode("utf-8", "surrogatepass"), digest_size=16).digest() for text in texts
    ]


def _higher(new: str, old: str) -> bool:
    try:
        return float(new) > float(old)
    except ValueError:
        return new > old


def _clash(rows: Columns, first: int, number: int) -> Reject:
    lines, ref, raw = rows["line"], rows["ref"][number], column(rows, "raw")[number]
    return Reject(
        line=lines[number],
        field="id",
        value=ref,
        reason=f"the id {ref!r} stands on line {lines[first]} too, with other contents",
        fix="Map a column that is different for every row as id, map a version, or leave id out.",
        cells={"id": ref, "raw": raw.replace("\x1f", " | ")},
    )
