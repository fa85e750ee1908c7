"""``unrung demo``: the whole job on a week of an invented venue, compared with its known truth."""

from __future__ import annotations

import json
import os
import shutil
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from unrung import units
from unrung.catch_up import CaughtUp, issue_due, take_in_all
from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.intake.archive import said
from unrung.ledger.results import COMPONENTS, Counts, DayLedger, TillRow, Volumes
from unrung.mail import preview
from unrung.mail.sink import sink
from unrung.sending import send_due
from unrung.settings import Settings
from unrung.store.days import leaves_between
from unrung.store.open import Store, open_store
from unrung.venue_time import day_name

MORNING = time(6, 30)
Say = Callable[[str], None]


FIGURES = (*COMPONENTS, *(column.name for column in fields(Counts)))
TILL_FIGURES = tuple(column.name for column in fields(TillRow) if column.name != "outlet")

Row = Mapping[str, int]
Rows = dict[tuple[str, str, str], Row]
"""(day, outlet, product) to figures; no product where the figures are the till's."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A figure of the ledger that is not the truth's: volumes in microlitres, units in millionths,
    money in minor units."""

    day: str
    outlet: str
    product: str
    figure: str
    found: int
    true: int

    def __str__(self) -> str:
        unit = " µL" if self.figure in COMPONENTS else ""
        return (f"{self.day} {self.outlet}, {self.product or 'the till'}, {self.figure}: "
                f"{self.found}{unit}, true {self.true}{unit}")


def run_demo(into: Path, samples: Path | None, say: Say) -> bool:
    """Make ``into`` anew, run a week through it morning by morning, and compare with the truth.

    The mails are really sent, to a mail server on this machine that only keeps them. True where
    every figure of every day is the one that the week's own labels give.
    """
    root = _samples_root(samples)
    truth = json.loads((root / "sample_exports" / "truth.json").read_text("utf-8"))
    _lay_out(root, into)
    with sink() as server:
        settings = load(into)
        mail = settings.mail.model_copy(
            update={"host": server.host, "port": server.port, "security": "none", "user": ""}
        )
        settings = settings.model_copy(update={"mail": mail})
        db = open_store(into / settings.files.store)
        done = _live_through(db, settings, days_of_truth(truth), say)
        _save_mails(server.received, into / "mails")
    differences = compare(db, [one.ledger for one in done.issued], truth)
    _summary(db, settings, done, into, len(server.received), say)
    _verdict(differences, truth, say)
    return not differences


def compare(db: Store, ledgers: Iterable[DayLedger], truth: dict[str, Any]) -> list[Difference]:
    """Every figure of every outlet, product and day as stored, and every row of the till, against the
    truth."""
    true: Rows = {(row["day"], row["outlet"], row["product"]): row for row in truth["days"]}
    till: Rows = {
        (ledger.day.isoformat(), row.outlet, ""): asdict(row) for ledger in ledgers for row in ledger.till
    }
    true_till: Rows = {(row["day"], row["outlet"], ""): row for row in truth["till"]}
    return [
        *_differences(_stored(db, days_of_truth(truth)), true, FIGURES),
        *_differences(till, true_till, TILL_FIGURES),
    ]


def _stored(db: Store, days: list[str]) -> Rows:
    found: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    for leaf in leaves_between(db, date.fromisoformat(days[0]), date.fromisoformat(days[-1])):
        for name in FIGURES:
            found[leaf["day"], leaf["outlet"], leaf["product"]][name] += leaf[name]
    return dict(found)


def _differences(found: Rows, true: Rows, figures: Iterable[str]) -> list[Difference]:
    nothing: Row = Counter()
    return [
        Difference(*key, name, found.get(key, nothing)[name], true.get(key, nothing)[name])
        for key in sorted({*found, *true}) for name in figures
        if found.get(key, nothing)[name] != true.get(key, nothing)[name]
    ]


def days_of_truth(truth: dict[str, Any]) -> list[str]:
    """The business days that the truth holds, in order."""
    return sorted({row["day"] for row in truth["days"]})


def _samples_root(samples: Path | None) -> Path:
    """The folder that holds ``sample_exports`` and ``config``: the checkout, unless told."""
    root = samples or Path(__file__).resolve().parents[2]
    if not (root / "sample_exports" / "truth.json").is_file():
        raise ConfigError([
            f"{root} holds no sample_exports; run the demo in a checkout of the project, or name the "
            "folder that holds sample_exports and config with --samples"
        ])
    return root


def _lay_out(root: Path, into: Path) -> None:
    """A fresh copy of the config, the exports waiting in their folders."""
    marker = into / ".unrung-demo"
    if into.is_file():
        raise ConfigError([f"{into} is a file; name a folder for the demo's files"])
    if into.exists() and any(into.iterdir()):
        if not marker.exists():
            raise ConfigError([f"{into} is not empty and was not made by the demo; name another folder"])
        shutil.rmtree(into)
    into.mkdir(parents=True, exist_ok=True)
    marker.touch()
    shutil.copytree(root / "config", into, dirs_exist_ok=True)
    for folder in sorted((root / "sample_exports").iterdir()):
        if folder.is_dir():
            (into / "incoming" / folder.name).mkdir(parents=True)
            (into / "exports" / folder.name).mkdir(parents=True)
            for file in sorted(folder.iterdir()):
                shutil.copy(file, into / "incoming" / folder.name / file.name)


def _live_through(db: Store, settings: Settings, days: list[str], say: Say) -> CaughtUp:
    """Each morning: the exports of the day before are there, are taken in, and the day is issued."""
    whole = CaughtUp()
    for text in days:
        day = date.fromisoformat(text)
        local = datetime.combine(day + timedelta(days=1), MORNING, ZoneInfo(settings.venue.timezone))
        now_ms = round(local.timestamp() * 1000)
        _deliver(Path(settings.folder), day, now_ms)
        done = take_in_all(db, settings, now_ms, lambda _: None)
        issue_due(db, settings, now_ms, done, lambda _: None)
        done.mails = send_due(db, settings, now_ms, os.environ)
        say(f"{day_name(day, settings)}: {len(done.taken)} exports, "
            f"{sum(one.source.new_rows for one in done.taken):,} new rows, "
            f"{sum(one.source.rejected for one in done.taken)} kept aside; "
            f"{'issued' if done.issued else 'not due'}, {done.mails} mail")
        whole.taken += done.taken
        whole.issued += done.issued
        whole.problems += done.problems
        whole.mails += done.mails
    return whole


def _deliver(folder: Path, day: date, now_ms: int) -> None:
    """Move the exports that a till, a meter and the staff left for ``day`` into the watched folders,
    written an hour before the morning's run."""
    marks = (day.isoformat(), day.strftime("%Y%m%d"))
    for file in sorted((folder / "incoming").rglob("*")):
        if file.is_file() and any(mark in file.name for mark in marks):
            target = folder / "exports" / file.parent.name / file.name
            shutil.move(file, target)
            os.utime(target, (now_ms / 1000 - 3600,) * 2)


def _save_mails(received: list[Any], folder: Path) -> None:
    for number, mail in enumerate(received, 1):
        preview.save(mail.content, folder, f"{number:02d}")


def _summary(
    db: Store, settings: Settings, done: CaughtUp, into: Path, mails: int, say: Say
) -> None:
    unit = settings.venue.volume_unit
    say("")
    say(f"{settings.venue.name}, {units.UNIT_LABELS[unit]}")
    say(_row("compared beer", "poured", "rung", "logged", "not rung", "variance"))
    totals: dict[str, Volumes] = {}
    for leaf in leaves_between(db, date.min, date.max):
        volumes = totals.setdefault(leaf["product"], Volumes())
        volumes.add(Volumes(**{name: leaf[name] for name in COMPONENTS}))
    for product, sums in sorted(totals.items()):
        compared = sums.poured - sums.not_beer - sums.poured_not_compared
        rung = sums.rung - sums.rung_not_compared
        figures = (compared, rung, sums.logged, sums.poured_not_rung, sums.variance)
        places = units.SHOWN_PLACES[unit]
        say(_row(product, *(f"{units.from_ul(value, unit, places):,}" for value in figures)))
    say("")
    rejects = [reject for taken in done.taken for reject in taken.rejects]
    say(f"{len(rejects)} rows could not be read and wait with their reasons, for example:")
    for taken in done.taken:
        for reject in taken.rejects[:1]:
            say(f"  {taken.source.name}, line {reject.line}, {reject.field}: {said(reject)}")
    say("")
    say(f"Daily files    {into / settings.files.folder / 'daily'}")
    say(f"Mails ({mails})      {into / 'mails'}  (.eml and .html)")
    say(f"Exports        {into / settings.files.archive}")
    say(f"Store          {into / settings.files.store}")


def _row(name: str, *cells: str) -> str:
    return f"{name[:24]:<24}" + "".join(f"{cell:>10}" for cell in cells)


def _verdict(differences: list[Difference], truth: dict[str, Any], say: Say) -> None:
    say("")
    if not differences:
        days = len(days_of_truth(truth))
        say(f"Every figure of all {days} days equals the truth that the week was made with.")
        return
    say(f"{len(differences)} figures differ from the truth that the week was made with:")
    for one in differences[:20]:
        say(f"  {one}")
