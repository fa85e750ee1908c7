"""What ``unrung check`` says about a config folder; reads everything, changes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from unrung.config_folder import load
from unrung.errors import ConfigError, SourceError, UnrungError
from unrung.intake.adapter import check_mapping, read_all
from unrung.intake.archive import sentence
from unrung.intake.scan import folder_of
from unrung.intake.trial import first_page
from unrung.intake.watch import list_folder
from unrung.records import Export
from unrung.settings import Feed, Settings

SAMPLE_ROWS = 3


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
        return report
    report.lines.append(f"{settings.venue.name}: {len(settings.feed)} feeds, "
                        f"{len(settings.products)} products, {len(settings.menu)} menu rows, "
                        f"{len(settings.taps)} tap rows")
    for feed in settings.feed:
        problems = check_mapping(feed, settings)
        for text in problems:
            report.problem(f"venue.toml: {text}")
        if feed.url and not problems:
            _try_address(feed, settings, report, now_ms, environ)
        elif not problems:
            _try_newest(feed, settings, report)
    if not settings.mail.host:
        report.lines.append("No mail server is set: [mail] host is empty, so no mail will be sent.")
    report.lines.append("Nothing is wrong." if not report.problems else f"{report.problems} to mend.")
    return report


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
        report.problem(f"feed {feed.name!r}: {newest.path.name} is larger than max_bytes")
        return
    _show(feed, settings, report, Export(newest.path.name, newest.path.read_bytes(), newest.mtime_ms))


def _show(feed: Feed, settings: Settings, report: Report, export: Export) -> None:
    """How an export would be read."""
    try:
        records, rejects, _ = read_all(feed, settings, export)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return
    report.lines.append(f"{feed.name}: {export.name} gives {len(records)} rows")
    report.lines += [f"    {_shown(record)}" for record in records[:SAMPLE_ROWS]]
    for reject in rejects[:SAMPLE_ROWS]:
        report.problem(f"{export.name}, line {reject.line}, field {reject.field!r}: {sentence(reject)}")


def _shown(record: object) -> str:
    """A record's telling fields on one line."""
    values = record.model_dump(exclude={"line", "raw", "version"}, exclude_defaults=True)  # type: ignore[attr-defined]
    return ", ".join(f"{key} {value}" for key, value in values.items())[:110]
