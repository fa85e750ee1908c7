"""Setup run on a folder of exports, and the ledger that comes of it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from unrung import daybook
from unrung.catch_up import catch_up, take_in_all
from unrung.checking import check_folder
from unrung.daybook import Cache
from unrung.ledger.results import COMPONENTS
from unrung.mapping import Carries
from unrung.opening import open_venue
from unrung.setup.doubt import Ask, Doubt, takes_proposals
from unrung.setup.run import Wishes, run_setup
from unrung.store.days import leaves_between

NOW_MS = round(datetime(2026, 11, 25, tzinfo=UTC).timestamp() * 1000)
Rows = dict[tuple[date, str, str], Counter[str]]


def set_up(
    into: Path, *, zone: str = "", machine: str = "", ask: Ask = takes_proposals, **given: str | Path
) -> list[str]:
    """Run setup; ``given``: kind of feed to a file, folder or pattern, and ``pulses_per_litre``.
    Returns what it said."""
    factor = str(given.pop("pulses_per_litre", ""))
    feeds: dict[Carries, tuple[str, ...]] = {kind: (str(path),) for kind, path in given.items()}  # type: ignore[misc]
    said: list[str] = []
    run_setup(Wishes(into, feeds, timezone=zone, pulses_per_litre=factor), ask, said.append, machine, NOW_MS)
    return said


class Asked:
    """Takes every proposal, and remembers what was asked; ``answers``: about to answer."""

    def __init__(self, **answers: str) -> None:
        self.answers, self.doubts = answers, list[Doubt]()

    def __call__(self, doubt: Doubt) -> str:
        self.doubts.append(doubt)
        return self.answers.get(doubt.about.rpartition(": ")[2], doubt.proposed)

    @property
    def about(self) -> list[str]:
        return [doubt.about for doubt in self.doubts]


def ledger_of(config: Path, days: Sequence[date]) -> Rows:
    """What ``unrung check`` and ``unrung catch-up`` make of the folder: microlitres by business day,
    outlet and product, components of 0 left out."""
    report = check_folder(config, NOW_MS, {})
    assert not report.problems, "\n".join(report.shown())
    noon = datetime.combine(days[-1] + timedelta(days=2), datetime.min.time(), UTC) + timedelta(hours=12)
    now_ms = round(noon.timestamp() * 1000)
    settings, db = open_venue(config, now_ms)
    done = catch_up(db, settings, now_ms, lambda _: None, {})
    assert not done.problems and not done.waiting
    assert all(taken.state == "taken" for taken in done.taken)
    rows: Rows = defaultdict(Counter)
    for leaf in leaves_between(db, days[0], days[-1]):
        key = (date.fromisoformat(leaf["day"]), leaf["outlet"], leaf["product"])
        rows[key].update({name: leaf[name] for name in COMPONENTS if leaf[name]})
    db.close()
    return {key: row for key, row in rows.items() if row}


def computed(config: Path, days: Sequence[date]) -> Rows:
    """The same, taken in and computed without issuing files; every component of every row."""
    noon = datetime.combine(days[-1] + timedelta(days=2), datetime.min.time(), UTC) + timedelta(hours=12)
    settings, db = open_venue(config, round(noon.timestamp() * 1000))
    assert not take_in_all(db, settings, round(noon.timestamp() * 1000), lambda _: None).problems
    rows: Rows = defaultdict(Counter)
    cache: Cache = {}
    for number, day in enumerate(days):
        for leaf in daybook.ledger_of(db, settings, day, cache, days[number + 1 :]).leaves:
            rows[day, leaf.outlet, leaf.product].update(
                {name: getattr(leaf.volumes, name) for name in COMPONENTS}
            )
    db.close()
    return dict(rows)
