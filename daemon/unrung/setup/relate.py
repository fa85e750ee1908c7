"""How one export relates to the next: new rows only, repeated rows, or whole days once more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from unrung.setup.doubt import Doubt, Found


class FileRows(NamedTuple):
    """One file's rows: (time in UTC milliseconds, id or "", raw text)."""

    name: str
    digest: str
    rows: tuple[tuple[int, str, str], ...]


def relation(files: Sequence[FileRows]) -> Found:
    """``append``, ``overlap`` or ``span``, by what the files repeat and what they leave out."""
    distinct = list({file.digest: file for file in files}.values())
    ordered = sorted((file for file in distinct if file.rows), key=lambda file: (_span(file)[1], file.name))
    if len(ordered) < 2:
        return _alone(ordered)
    repeated = missing = shared = 0
    for at, older in enumerate(ordered):
        for newer in ordered[at + 1 :]:
            found = _compared(older, newer)
            shared += found[0]
            repeated += found[1]
            missing += found[2]
    if not shared:
        return Found("append", "no file holds times of another one")
    if not repeated:
        return Found("append", "files of the same hours hold different rows")
    if missing > 0.002 * shared and missing > 1:
        return Found(
            "span", f"a later file leaves out {missing} rows of an earlier one's time"
        )
    return Found("overlap", f"{repeated} rows of a file come again in a later one")


def _alone(files: Sequence[FileRows]) -> Found:
    has_ids = bool(files) and all(ref for _, ref, _ in files[0].rows)
    if has_ids:
        return Found("append", "rows have an id, so one that comes again counts once anyhow")
    why = "one file does not tell how the next one relates to it"
    doubt = Doubt(
        "export", "Will the next export hold rows of this one again?",
        (("append", "no: only new rows"), ("overlap", "yes: some rows come again"),
         ("span", "yes: whole days, and the newest file is the truth for them")),
        "append", why,
    )
    return Found("append", why, doubt)


def _span(file: FileRows) -> tuple[int, int]:
    return min(row[0] for row in file.rows), max(row[0] for row in file.rows)


def _compared(older: FileRows, newer: FileRows) -> tuple[int, int, int]:
    """Of the older file's rows within the newer one's time: how many, repeated, gone or changed."""
    lo, hi = _span(newer)
    inside = [row for row in older.rows if lo <= row[0] <= hi]
    by_id = {ref for _, ref, _ in newer.rows if ref}
    raws = Counter(raw for _, ref, raw in newer.rows if not ref)
    repeated = changed = 0
    for _, ref, raw in inside:
        if ref:
            repeated += ref in by_id
            changed += ref not in by_id
        elif raws[raw]:
            raws[raw] -= 1
            repeated += 1
        else:
            changed += 1
    return len(inside), repeated, changed if repeated else 0
