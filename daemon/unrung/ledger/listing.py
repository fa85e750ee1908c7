"""What was written down: rows per reason, and entries that no pour bears out."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable

from unrung.ledger.cleaning import Cleaned
from unrung.ledger.draft import Draft
from unrung.ledger.inputs import LogLine
from unrung.ledger.rest import KEG_CHANGE, Said, is_cleaning_span
from unrung.ledger.results import LoggedRow, Lone
from unrung.ledger.said import Names, log_order, sayings

Place = tuple[str, str]
"""Outlet or pool, and product."""
Rows = defaultdict[tuple[str, str, str], list[int]]
"""(outlet, product, reason) to entries, said, explained, without pour."""

UNTIMED = ", untimed"
"""Marks the reason of entries that were written down for a day, without a time."""


def logged_rows(draft: Draft, said: Iterable[Said], names: Names) -> list[LoggedRow]:
    """What is explained stands with the product that was poured, so that a product's rows sum to its
    ``logged``; what an entry says stands once, with the product it names."""
    rows: Rows = defaultdict(lambda: [0, 0, 0, 0])
    for entry in said:
        explained: Counter[Place] = Counter()
        for rest, volume in entry.explained:
            explained[rest.outlet, rest.product] += volume
        if entry.reason == KEG_CHANGE:
            _add_keg_change(rows, explained)
        else:
            untimed = UNTIMED if entry.line.at_ms is None else ""
            home = (entry.outlet, entry.product)
            _add(rows, home, entry.reason + untimed, explained, entry.said_ul, int(entry.first))
    for log, flows in _by_cleaning(draft, names):
        explained = Counter()
        for done in flows:
            explained[done.flow.outlet, done.flow.product] += done.logged_ul
        mine = log in draft.material.inputs.logs
        said_ul = sum(one.volume_ul for one in sayings(log, names)) or explained.total()
        _add(rows, _home(log, names), log.reason, explained, said_ul if mine else 0, int(mine))
    return [LoggedRow(*key, *values) for key, values in sorted(rows.items())]


def list_entries(draft: Draft, said: Iterable[Said], names: Names) -> None:
    """An entry that finds no pour explains nothing and is listed."""
    for entry in said:
        if not entry.explained and entry.reason != KEG_CHANGE:
            assert isinstance(entry.line, LogLine)
            _list(draft, entry.line, (entry.outlet, entry.product), entry.said_ul)
    for log, flows in _by_cleaning(draft, names):
        if not flows:
            _list(draft, log, _home(log, names), sum(one.volume_ul for one in sayings(log, names)))


def _list(draft: Draft, log: LogLine, home: Place, volume_ul: int) -> None:
    at_ms = log.at_ms if log.at_ms is not None else draft.material.bounds[0]
    draft.lone.append(
        Lone("log", *home, log.tap, at_ms, volume_ul, False, log.origin.feed,
             draft.name_of(log.origin), log.origin.line, log.origin.ref)
    )


def _by_cleaning(draft: Draft, names: Names) -> list[tuple[LogLine, list[Cleaned]]]:
    """Cleaning spans with what flowed in them; also those of the day in which nothing flowed."""
    flows: dict[int, list[Cleaned]] = defaultdict(list)
    for done in draft.cleaned:
        flows[done.entry.id].append(done)
    inputs = draft.material.inputs
    logs = [*(log for log in inputs.cleaning if log.id in flows), *filter(is_cleaning_span, inputs.logs)]
    return [(log, flows[log.id]) for log in sorted(logs, key=log_order)]


def _home(log: LogLine, names: Names) -> Place:
    return names.outlets.of(log.outlet), sayings(log, names)[0].product


def _add_keg_change(rows: Rows, explained: Counter[Place]) -> None:
    """Nobody said how much a keg change takes: it says what it explains."""
    for nth, (place, volume) in enumerate(sorted(explained.items())):
        _sum(rows[*place, KEG_CHANGE], int(nth == 0), volume, volume, 0)


def _add(
    rows: Rows, home: Place, reason: str, explained: Counter[Place], said_ul: int, entries: int
) -> None:
    """``home``: the place that the entry names; what it leaves open is taken from its first pour."""
    first = min(explained, default=("", ""))
    home = (home[0] or first[0], home[1] or first[1])
    if entries or said_ul:
        _sum(rows[*home, reason], entries, said_ul, 0, max(0, said_ul - explained.total()))
    for place, volume in sorted(explained.items()):
        _sum(rows[*place, reason], 0, 0, volume, 0)


def _sum(row: list[int], *amounts: int) -> None:
    for place, amount in enumerate(amounts):
        row[place] += amount
