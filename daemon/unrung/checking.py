"""What ``unrung check`` says about a config folder; reads everything, changes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from unrung.business_day import local_iso
from unrung.config_folder import load
from unrung.errors import ConfigError, SourceError, StoreError, UnrungError
from unrung.intake.adapter import read_all
from unrung.intake.archive import printable, sentence
from unrung.intake.scan import folder_of
from unrung.intake.trial import first_page
from unrung.intake.watch import list_folder
from unrung.opening import days_of_edits
from unrung.records import AnyRecord, Export
from unrung.settings import Feed, Settings
from unrung.store.open import look_at_store
from unrung.units import UNIT_LABELS, from_ul

SAMPLE_ROWS = 3
DAYS_SHOWN = 10


@dataclass(slots=True)
class Report:
    """Lines to print, and how many of them are problems."""

    lines: list[str] = field(default_factory=list)
    problems: int = 0

    def problem(self, text: str) -> None:
        self.lines.append(f"- {text}")
        self.problems += 1


def check_folder(config: Path, now_ms: int, environ: Mapping[str, str]) -> Report:
    """Everything that is wrong, at once; and how each feed's newest file or answer would be read."""
    report = Report()
    try:
        settings = load(config)
    except ConfigError as error:
        for text in error.problems:
            report.problem(text)
        report.lines.append(f"{report.problems} to mend.")
        return report
    report.lines.append(f"{settings.venue.name}: {len(settings.feed)} feeds, "
                        f"{len(settings.products)} products, {len(settings.menu)} menu rows, "
                        f"{len(settings.taps)} tap rows")
    _list_edits(settings, report, now_ms)
    for feed in settings.feed:
        if feed.url:
            _try_address(feed, settings, report, now_ms, environ)
        else:
            _try_newest(feed, settings, report)
    if not settings.mail.host:
        report.lines.append("No mail server is set: [mail] host is empty, so no mail will be sent.")
    report.lines.append("Nothing is wrong." if not report.problems else f"{report.problems} to mend.")
    return report


def _list_edits(settings: Settings, report: Report, now_ms: int) -> None:
    """The past days that edits of the tables change, before anything is done about them."""
    try:
        db = look_at_store(Path(settings.folder) / settings.files.store)
    except StoreError as error:
        report.problem(str(error))
        return
    try:
        days = sorted(days_of_edits(db, settings, now_ms))
    finally:
        db.close()
    if days:
        listed = ", ".join(day.isoformat() for day in days[:DAYS_SHOWN])
        more = f" and {len(days) - DAYS_SHOWN} more" if len(days) > DAYS_SHOWN else ""
        report.lines.append(f"Edits of the tables change days that are past, which are issued again "
                            f"where they differ: {listed}{more}")


def _try_address(
    feed: Feed, settings: Settings, report: Report, now_ms: int, environ: Mapping[str, str]
) -> None:
    """Ask a polled address once, and show the first rows as understood."""
    try:
        export = first_page(settings, feed, now_ms, environ)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return
    if export.content:
        _show(feed, settings, report, export)
    else:
        report.lines.append(f"{feed.name}: {export.name} has no rows at present")


def _try_newest(feed: Feed, settings: Settings, report: Report) -> None:
    """Read the newest waiting file as it would be read, and show the first rows as understood."""
    try:
        listing = list_folder(folder_of(feed, settings), feed.pattern)
    except SourceError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return
    for text in listing.odd:
        report.problem(f"feed {feed.name!r}: {text}")
    if not listing.files:
        report.lines.append(f"{feed.name}: no file waits in {folder_of(feed, settings)}")
        return
    newest = listing.files[-1]
    if newest.size > feed.max_bytes:
        report.problem(f"feed {feed.name!r}: {printable(newest.path.name)} is larger than max_bytes")
        return
    try:
        content = newest.path.read_bytes()
    except OSError as error:
        report.problem(f"feed {feed.name!r}: {newest.path} cannot be read: {error.strerror}")
        return
    _show(feed, settings, report, Export(printable(newest.path.name), content, newest.mtime_ms))


def _show(feed: Feed, settings: Settings, report: Report, export: Export) -> None:
    """How an export would be read."""
    try:
        records, rejects, _ = read_all(feed, settings, export)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return
    report.lines.append(f"{feed.name}: {export.name} gives {len(records)} rows")
    report.lines += [f"    {_shown(record, settings)}" for record in records[:SAMPLE_ROWS]]
    for reject in rejects[:SAMPLE_ROWS]:
        report.problem(f"{export.name}, line {reject.line}, field {reject.field!r}: {sentence(reject)}")
    if len(rejects) > SAMPLE_ROWS:
        report.problem(f"{export.name}: {len(rejects) - SAMPLE_ROWS} more rows cannot be read")


def _shown(record: AnyRecord, settings: Settings) -> str:
    """A record's telling fields on one line, as the venue writes times, volumes and money."""
    values = record.model_dump(exclude={"line", "raw", "version", "at_text"}, exclude_defaults=True)
    return ", ".join(_field(key, value, settings) for key, value in values.items())[:150]


def _field(key: str, value: Any, settings: Settings) -> str:
    """One field: its name, and its value in the venue's terms.

    A unit stands at the end of a field's name: _ms, _ul, _micro, _minor.
    """
    name, _, unit = key.rpartition("_")
    match unit:
        case "ms":
            return f"{name} {local_iso(value, settings.venue.timezone)}"
        case "ul":
            volume = from_ul(value, settings.venue.volume_unit, 2)
            return f"{name} {volume} {UNIT_LABELS[settings.venue.volume_unit]}"
        case "micro":
            return f"{name} {(Decimal(value) / 1_000_000).normalize():f}"
        case "minor":
            amount = Decimal(value).scaleb(-settings.currency_digits)
            return f"{name} {amount} {settings.venue.currency}"
        case _:
            return f"{key} {value}"
