"""The places of a feed: its watched folder, its part of the archive, and of what is set aside."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from unrung.business_day import local_iso
from unrung.intake.archive import free_place, move, remove_reasons, write_reasons
from unrung.intake.take_in import Taken
from unrung.settings import Feed, Settings
from unrung.store.sources import SourceRow


def folder_of(feed: Feed, settings: Settings) -> Path:
    """The watched folder; a relative one starts at the config folder."""
    return Path(settings.folder) / feed.folder


def root_of(settings: Settings, state: str) -> Path:
    """What ``kept_as`` of an export in ``state`` is relative to."""
    name = settings.files.aside if state == "set_aside" else settings.files.archive
    return Path(settings.folder) / name


def kept_path(settings: Settings, source: SourceRow) -> Path | None:
    """Where the bytes of an export are kept; None where they stay where they came in."""
    return root_of(settings, source.state) / source.kept_as if source.kept_as else None


def keeper(settings: Settings, feed: Feed, name: str, now_ms: int) -> Callable[[str, str], str]:
    """State and hash of the export ``name`` to its place: by day in the archive, or set aside."""
    day = local_iso(now_ms, settings.venue.timezone)[:10]

    def keep(state: str, sha256: str) -> str:
        folder = feed.name if state == "set_aside" else f"{feed.name}/{day}"
        return free_place(root_of(settings, state), folder, name, sha256)

    return keep


def put_away(settings: Settings, feed: Feed, path: Path, taken: Taken) -> None:
    """Move an export at ``path`` to where it is kept, with its reasons beside it.

    Raises SourceError; what is in the store stays, and the move is tried again at the next look.
    """
    source = taken.source
    kept = kept_path(settings, source)
    give_reasons(settings, feed, taken)
    if kept is not None and kept != path:
        move(path, kept)


def give_reasons(settings: Settings, feed: Feed, taken: Taken) -> None:
    """Write what is wrong with an export beside it, or take it away where nothing is. Of one that is
    left in its folder it stands where it would be set aside."""
    source = taken.source
    place = reasons_beside(settings, feed, source)
    if source.state == "set_aside" or taken.rejects:
        write_reasons(place, source.name, source.reason, taken.rejects)
    elif source.state == "taken":
        remove_reasons(place)


def reasons_beside(settings: Settings, feed: Feed, source: SourceRow) -> Path:
    """The place beside which the reasons of an export stand."""
    return kept_path(settings, source) or root_of(settings, "set_aside") / feed.name / source.name
