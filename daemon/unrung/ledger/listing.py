"""What was written down: rows per reason, and entries that no pour bears out."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable

from unrung.ledger.draft import Draft
from unrung.ledger.rest import Said, said_volume_ul
from unrung.ledger.results import LoggedRow, Lone


def logged_rows(draft: Draft, said: list[Said]) -> list[LoggedRow]:
    rows: dict[tuple[str, str, str], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for entry in said:
        if entry.reason == "keg_change" and not entry.explained:
            continue
        first = entry.explained[0][0] if entry.explained else None
        outlet = first.outlet if first else entry.outlet
        product = first.product if first else entry.product
        _add(rows[outlet, product, entry.reason], entry.said_ul, entry.explained_ul)
    cleaned: dict[tuple[int, str, str], int] = Counter()
    menu = draft.material.menu
    by_id = {done.entry.id: done.entry for done in draft.material.pours.cleaned}
    for done in draft.material.pours.cleaned:
        cleaned[done.entry.id, done.flow.outlet, done.flow.product] += done.logged_ul
    for (entry_id, outlet, product), volume in sorted(cleaned.items()):
        _add(rows[outlet, product, "cleaning"], said_volume_ul(by_id[entry_id], menu) or volume, volume)
    return [LoggedRow(*key, *values) for key, values in sorted(rows.items())]


def _add(row: list[int], said_ul: int, explained_ul: int) -> None:
    row[0] += 1
    row[1] += said_ul
    row[2] += explained_ul
    row[3] += max(0, said_ul - explained_ul)


def list_entries(draft: Draft, said: Iterable[Said]) -> None:
    """An entry that finds no pour explains nothing and is listed."""
    for entry in said:
        line = entry.line
        if not entry.explained and entry.reason != "keg_change":
            at = line.at_ms if line.at_ms is not None else draft.material.bounds[0]
            draft.lone.append(
                Lone("log", entry.outlet, entry.product, line.tap, at, entry.said_ul, False,
                     line.origin.feed, draft.name_of(line.origin), line.origin.line,
                     line.origin.ref)
            )
