"""What ``unrung check`` says about a config folder; reads everything, changes nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from unrung.business_day import local_iso
from unrung.config_folder import load
from unrung.config_tables import repeated_rows
from unrung.covering import KINDS
from unrung.errors import ConfigError, SourceError, StoreError, UnrungError
from unrung.feed_words import clock_words, held_words, passed_over_words
from unrung.intake.adapter import mapping_digest, read_all
from unrung.intake.archive import printable, sentence
from unrung.intake.keeping import kept_path
from unrung.intake.scan import folder_of
from unrung.intake.trial import first_page
from unrung.intake.watch import list_folder
from unrung.mail.secret import password
from unrung.mail.smtp import greet
from unrung.menu_check import list_unlisted, outlets_without_taps, rung_unlisted
from unrung.menu_rows import Asked
from unrung.odd_sizes import odd_sizes
from unrung.opening import days_of_edits
from unrung.records import AnyRecord, Export
from unrung.settings import Feed, Settings
from unrung.staff_names import staff_words
from unrung.store.network_place import network_kind
from unrung.store.open import Store, look_at_store
from unrung.store.sources import came_between, feeds_besides, kind_of_feed, newest_taken, set_aside_ones
from unrung.terminal import folded_line
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

    def shown(self, width: int = 80) -> list[str]:
        """The lines as printed: broken at blanks, but for rows to be copied (six blanks in front)."""
        return [part for line in self.lines for part in folded_line(line, width)]


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
    products = {row.product for row in settings.products}
    report.lines.append(f"{settings.venue.name}: {len(settings.feed)} feeds, "
                        f"{len(products)} products, {len(settings.menu)} menu rows, "
                        f"{len(settings.taps)} tap rows")
    report.lines += repeated_rows(config) + odd_sizes(settings)
    db = _looked_at(settings, report)
    if db is not None:
        _list_edits(db, settings, report, now_ms)
        report.lines += _renamed(db, settings)
    sold: Counter[Asked] = Counter()
    for feed in settings.feed:
        if feed.url:
            records = _try_address(feed, settings, report, now_ms, environ)
        else:
            records = _try_newest(db, feed, settings, report)
        sold.update(rung_unlisted(records, settings))
    list_unlisted(db, settings, sold, report.lines, config, now_ms)
    if db is not None:
        db.close()
    _try_mail(settings, report, environ)
    report.lines += staff_words(settings)
    report.lines.append("Nothing is wrong." if not report.problems else f"{report.problems} to mend.")
    return report


def _looked_at(settings: Settings, report: Report) -> Store | None:
    """The store, to read only; None where it is none of ours."""
    path = Path(settings.folder) / settings.files.store
    if kind := network_kind(path):
        report.problem(f"the store {path} lies on a network folder ({kind}), where a break of the network "
                       "can damage it: set [files] store to a path on a disk of this machine")
    try:
        return look_at_store(path)
    except StoreError as error:
        report.problem(str(error))
        return None


def _list_edits(db: Store, settings: Settings, report: Report, now_ms: int) -> None:
    """The past days that edits of the tables change, before anything is done about them."""
    days = sorted(days_of_edits(db, settings, now_ms))
    if days:
        listed = ", ".join(day.isoformat() for day in days[:DAYS_SHOWN])
        more = f" and {len(days) - DAYS_SHOWN} more" if len(days) > DAYS_SHOWN else ""
        report.lines.append(f"Edits of the tables change days that are past, which are issued again "
                            f"where they differ: {listed}{more}")


def _renamed(db: Store, settings: Settings) -> list[str]:
    """Feeds that gave nothing yet, where one that carried the same is called so no longer."""
    names = [feed.name for feed in settings.feed]
    gone = {name: kind_of_feed(db, name) for name in feeds_besides(db, names)}
    return [
        f"Feed {feed.name!r} is new, and none is called {name!r} now, whose rows are in the store. If it is "
        "the same under a new name, give it back its name: rows that come again would count twice."
        for feed in settings.feed for name, kind in gone.items()
        if KINDS.get(feed.carries) == kind and came_between(db, feed.name) is None
    ]


def _try_address(
    feed: Feed, settings: Settings, report: Report, now_ms: int, environ: Mapping[str, str]
) -> list[AnyRecord]:
    """Ask a polled address once, and show the first rows as understood."""
    try:
        export, said_ms = first_page(settings, feed, now_ms, environ)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return []
    if apart := clock_words(feed, said_ms, now_ms):
        report.lines.append(apart)
    if export.content:
        return _show(feed, settings, report, export)
    report.lines.append(f"{feed.name}: {export.name} has no rows at present")
    return []


def _try_newest(
    db: Store | None, feed: Feed, settings: Settings, report: Report
) -> list[AnyRecord]:
    """Read the newest file, waiting or kept, as it would be read, and show the first rows."""
    try:
        listing = list_folder(folder_of(feed, settings), feed.pattern)
    except SourceError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return []
    for text in listing.odd:
        report.problem(f"feed {feed.name!r}: {text}")
    report.lines += [f"{feed.name}: {text}" for text in passed_over_words(feed, settings)]
    if not listing.files:
        report.lines.append(f"{feed.name}: no file waits in {folder_of(feed, settings)}")
        mended = _try_aside(db, feed, settings, report)
        return [] if mended else _show_kept(db, feed, settings, report)
    _try_aside(db, feed, settings, report)
    newest = listing.files[-1]
    if newest.size > feed.max_bytes:
        report.problem(f"feed {feed.name!r}: {printable(newest.path.name)} is larger than max_bytes")
        return []
    try:
        content = newest.path.read_bytes()
    except OSError as error:
        report.problem(f"feed {feed.name!r}: {newest.path} cannot be read: {error.strerror}")
        return []
    return _show(feed, settings, report, Export(printable(newest.path.name), content, newest.mtime_ms))


def _try_aside(db: Store | None, feed: Feed, settings: Settings, report: Report) -> bool:
    """Whether the exports that stand set aside would be read with the settings as they are now. Where they
    would, older ones need not be: the settings follow the source."""
    aside = set_aside_ones(db, feed.name) if db is not None else []
    if not aside:
        return False
    first, last = aside[0], aside[-1]
    path = kept_path(settings, last)
    changed = mapping_digest(feed, settings) != last.mapping_digest
    if changed and path is not None and path.is_file():
        try:
            export = Export(last.name, path.read_bytes(), last.received_ms)
            records, rejects, _ = read_all(feed, settings, export)
        except UnrungError as error:
            report.problem(f"feed {feed.name!r}: still set aside, also with these settings: {error}")
            return False
        if len(records) > len(rejects):
            report.lines.append(f"{feed.name}: {last.name} was set aside and gives {len(records)} rows now; "
                                "it is taken in by itself")
            return True
    for text in held_words(feed, aside, settings):
        report.problem(text)
    report.lines.append(f"  Set aside: {first.name}" + (f" to {last.name}" if last is not first else ""))
    return False


def _show_kept(db: Store | None, feed: Feed, settings: Settings, report: Report) -> list[AnyRecord]:
    """The first rows of the export that was taken in last, as it would be read now. Its rows are in
    the store already, and what is wrong with some of them was said then."""
    source = newest_taken(db, feed.name) if db is not None else None
    kept = kept_path(settings, source) if source is not None else None
    if source is None or kept is None or not kept.is_file():
        return []
    export = Export(source.name, kept.read_bytes(), source.received_ms)
    try:
        records, rejects, _ = read_all(feed, settings, export)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: the export taken in last would not be read now: {error}")
        return []
    bad = f", {len(rejects)} more cannot be read" if rejects else ""
    report.lines.append(f"{feed.name}: taken in last, {export.name} gives {len(records)} rows{bad}")
    report.lines += [f"    {_shown(record, settings)}" for record in records[:SAMPLE_ROWS]]
    report.lines += outlets_without_taps(records, settings)
    return []


def _show(feed: Feed, settings: Settings, report: Report, export: Export) -> list[AnyRecord]:
    """How an export would be read."""
    try:
        records, rejects, _ = read_all(feed, settings, export)
    except UnrungError as error:
        report.problem(f"feed {feed.name!r}: {error}")
        return []
    report.lines.append(f"{feed.name}: {export.name} gives {len(records)} rows")
    report.lines += [f"    {_shown(record, settings)}" for record in records[:SAMPLE_ROWS]]
    report.lines += outlets_without_taps(records, settings)
    for reject in rejects[:SAMPLE_ROWS]:
        report.problem(f"{export.name}, line {reject.line}, field {reject.field!r}: {sentence(reject)}")
    if len(rejects) > SAMPLE_ROWS:
        report.problem(f"{export.name}: {len(rejects) - SAMPLE_ROWS} more rows cannot be read")
    return records


def _try_mail(settings: Settings, report: Report, environ: Mapping[str, str]) -> None:
    """Greet the mail server and log in; no mail is sent."""
    mail = settings.mail
    if not mail.host:
        report.lines.append("No mail server is set: [mail] host is empty, so no mail will be sent.")
        return
    for name in ("sender", "to"):
        if not getattr(mail, name):
            report.problem(f"venue.toml: [mail] {name} is empty, so no mail will be sent; fill it in.")
    try:
        outcome = greet(mail, password(mail, environ, settings.folder))
    except ConfigError as error:
        for text in error.problems:
            report.problem(text)
        return
    if outcome.state == "ok":
        report.lines.append(f"Mail: {outcome.text}; nothing was sent.")
    else:
        report.problem(f"Mail: {outcome.text}")


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
