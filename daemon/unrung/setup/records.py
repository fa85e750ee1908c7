"""The samples read as they will be read at run time, by the feeds as drafted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from unrung.intake.adapter import check_mapping, read_all
from unrung.records import AnyRecord, Export, Reject
from unrung.settings import Feed, Settings, Venue
from unrung.setup.draft import Draft
from unrung.setup.relate import FileRows


@dataclass
class Read:
    """What a feed's samples give."""

    records: list[AnyRecord] = field(default_factory=list)
    """Of all files, those that a later file repeats left out."""
    rejects: list[tuple[str, Reject]] = field(default_factory=list)
    files: list[FileRows] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def feed_of(draft: Draft, folder: str, pattern: str) -> Feed:
    """The draft as a feed of the config."""
    return Feed.model_validate({
        "name": draft.name, "carries": draft.carries, "adapter": draft.adapter, "folder": folder,
        "pattern": pattern, "export": draft.export, "resolution": draft.resolution,
        "fields": draft.fields, "formats": draft.formats,
    })


def read_draft(draft: Draft, venue: Venue, digits: int, now_ms: int) -> Read:
    """Read every sample. ``digits``: minor digits of the currency."""
    feed = feed_of(draft, "samples", "*")
    settings = Settings(venue=venue, feed=(feed,), currency_digits=digits)
    found = Read(problems=check_mapping(feed, settings))
    if found.problems:
        return found
    seen: set[str] = set()
    for sample in draft.samples:
        digest = sha256(sample.content).hexdigest()
        if digest in seen:
            continue
        seen.add(digest)
        export = Export(sample.name, sample.content, max(sample.mtime_ms, now_ms))
        records, rejects, _ = read_all(feed, settings, export)
        found.rejects += [(sample.name, reject) for reject in rejects]
        found.records += records
        rows = tuple((_when(record), record.ref, record.raw) for record in records)
        found.files.append(FileRows(sample.name, digest, rows))
    return found


def merged(read: Read, export: str) -> list[AnyRecord]:
    """The records once each, as the store would hold them."""
    if export == "append" and not any(record.ref for record in read.records):
        return read.records
    by_id: dict[str, AnyRecord] = {}
    most: dict[str, list[AnyRecord]] = {}
    start = 0
    for file in read.files:
        mine = read.records[start : start + len(file.rows)]
        start += len(file.rows)
        counted: dict[str, list[AnyRecord]] = defaultdict(list)
        for record in mine:
            if record.ref:
                by_id[record.ref] = record
            else:
                counted[record.raw].append(record)
        for raw, alike in counted.items():
            if len(alike) > len(most.get(raw, ())):
                most[raw] = alike
    return [*by_id.values(), *(record for alike in most.values() for record in alike)]


def _when(record: Any) -> int:
    if hasattr(record, "start_ms"):
        return int(record.end_ms)
    return int(record.at_ms or 0)


def shown(record: AnyRecord, fields: Sequence[str]) -> str:
    """A record's telling values on one line."""
    values = record.model_dump(exclude={"line", "raw", "version", "ref"}, exclude_defaults=True)
    return ", ".join(f"{name} {values[name]}" for name in fields if name in values)
