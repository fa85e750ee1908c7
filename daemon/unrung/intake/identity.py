"""What makes a row that row, so that a file taken twice changes nothing and no sale is lost.

With an id of the source: (feed, id). Without one: (feed, raw text of the mapped cells, ordinal
among equals in that file), since two equal pints in one minute are two sales. Where exports only
append, equal rows of two files are two rows, so the file is part of the identity too: its name, and
where a till writes file after file under one name, its contents.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from unrung.records import AnyRecord, Reject
from unrung.settings import Feed
from unrung.store.movements import share_known
from unrung.store.open import Store
from unrung.store.sources import newest_named


@dataclass(frozen=True, slots=True)
class Identified:
    """Records with their identities (16 bytes each), and those whose id was used before."""

    rows: list[tuple[bytes, AnyRecord]]
    clashes: list[Reject]
    repeats: int
    """Rows that repeat an id with equal contents within the export."""


def identify(feed: Feed, scope: str, records: Sequence[AnyRecord]) -> Identified:
    """Give every record of an export its identity; ``scope`` as ``file_scope`` has it."""
    refs = {record.ref for record in records}
    if len(refs) == len(records) and "" not in refs:  # as is usual: no two can clash
        return Identified([(ident_of(feed, record.ref), record) for record in records], [], 0)
    rows: list[tuple[bytes, AnyRecord]] = []
    clashes: list[Reject] = []
    by_ref: dict[str, AnyRecord] = {}
    places: dict[str, int] = {}
    equal: Counter[str] = Counter()
    repeats = 0
    scope = f"{feed.name}\x1f{scope}\x1f"
    for record in records:
        if not record.ref:
            rows.append((_digest("x", scope, f"{record.raw}\x1f{equal[record.raw]}"), record))
            equal[record.raw] += 1
            continue
        first = by_ref.setdefault(record.ref, record)
        if first is record:
            places[record.ref] = len(rows)
            rows.append((ident_of(feed, record.ref), record))
        elif first.raw == record.raw:
            repeats += 1
        elif first.version != record.version:
            if _higher(record.version, first.version):
                by_ref[record.ref] = record
                rows[places[record.ref]] = (rows[places[record.ref]][0], record)
        else:
            clashes.append(_clash(first, record))
    return Identified(rows, clashes, repeats)


def file_scope(
    db: Store, feed: Feed, name: str, records: Sequence[AnyRecord], sha256: str
) -> str:
    """Which file the rows of an ``append`` feed belong to; empty for the other feeds.

    A file that shares more than half of its rows with the last one of its name is that file, grown
    or mended. Else it is another one, and a row of it that equals one of the last is another row.
    """
    if feed.export != "append":
        return ""
    last = newest_named(db, feed.name, name)
    if last is None:
        return name
    bare = [(record.at_text, ident) for ident, record in identify(feed, last.scope, records).rows
            if not record.ref]
    least = min(len(bare), last.rows - last.rejected)
    same = not bare or 2 * share_known(db, bare) > least
    return last.scope if same else f"{name}\x1f{sha256[:16]}"


def ident_of(feed: Feed, ref: str) -> bytes:
    """The identity of the row with the id ``ref``."""
    return _digest("i", feed.name, ref)


def _digest(*parts: str) -> bytes:
    return hashlib.blake2b("\x1e".join(parts).encode("utf-8", "surrogatepass"), digest_size=16).digest()


def _higher(new: str, old: str) -> bool:
    try:
        return float(new) > float(old)
    except ValueError:
        return new > old


def _clash(first: AnyRecord, record: AnyRecord) -> Reject:
    return Reject(
        line=record.line,
        field="id",
        value=record.ref,
        reason=f"the id {record.ref!r} stands on line {first.line} too, with other contents",
        fix="Map a column that is different for every row as id, map a version, or leave id out.",
        cells={"id": record.ref, "raw": record.raw.replace("\x1f", " | ")},
    )
