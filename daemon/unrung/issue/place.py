"""Putting files into their folder whole: written aside, flushed to disk, renamed into place.

After a crash at any moment each file is either the old one or the new one. All files are written
aside before the first is renamed, so a full disk changes nothing. Files are renamed in the order
given: a data package that is given last holds hashes that tell whether a crash came in between.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import BinaryIO, Literal

from unrung.errors import UnrungError
from unrung.settings import Settings

PATIENCE_SECONDS = 3.0 if os.name == "nt" else 0.0
"""How long a refused rename is tried again. Only Windows refuses for a moment: a virus scanner, a
sync client or a spreadsheet holds the old file open."""
_PAUSE_SECONDS = 0.1
FLUSHED_AT_ONCE = 8
Readers = Literal["owner", "group", "everyone"]
MODES: dict[Readers, int] = {"owner": 0o600, "group": 0o640, "everyone": 0o644}


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A file whose old version could not be replaced."""

    name: str
    written_as: str
    """Name under which the new version stands beside it; empty if that was refused too."""
    reason: str

    def __str__(self) -> str:
        where = f"the new one is {self.written_as}" if self.written_as else "the new one is missing"
        return f"{self.name} could not be replaced ({self.reason}): {where}. Close or unlock it."


def folder_for_day(settings: Settings, day: date) -> Path:
    """Where the files of ``day`` go: ``<files folder>/daily/<ISO date>``."""
    return Path(settings.folder) / settings.files.folder / "daily" / day.isoformat()


def folder_for_month(settings: Settings, period: str) -> Path:
    """Where the files of a period go: ``<files folder>/monthly/<period>``."""
    return Path(settings.folder) / settings.files.folder / "monthly" / period


def place(
    folder: Path, files: Mapping[str, bytes], patience: float = PATIENCE_SECONDS, readers: Readers = "owner"
) -> tuple[Unplaced, ...]:
    """Brings ``files`` (name to content) into ``folder``, which is made if missing.

    A file that stands there with the same content is left alone. One that cannot be replaced is
    written as ``<name>.new`` and returned; the others go on. A later success removes the ``.new``.
    ``readers``: who may read what is made here, by its mode; the group is the one that the system
    gives, which is the folder's where that folder passes it on (setgid).
    Raises UnrungError, with the old files untouched and nothing left behind, when the new ones
    cannot be written at all (disk full, folder read-only).
    """
    due = {name: content for name, content in files.items() if not _holds(folder / name, content)}
    aside: list[Path] = []
    try:
        with _made_for(readers):
            folder.mkdir(parents=True, exist_ok=True)
            with ExitStack() as opened:
                written = []
                for name, content in due.items():
                    aside.append(_aside(folder, name))
                    written.append(opened.enter_context(_made(aside[-1], MODES[readers])))
                    written[-1].write(content)
                    written[-1].flush()
                _flush_all([out.fileno() for out in written])
    except OSError as error:
        _clear(aside)
        raise UnrungError(
            f"{folder}: the new files cannot be written: {error.strerror or error}. "
            "Free some space or allow writing there; nothing issued there has changed."
        ) from error
    unplaced = [_settle(folder, name, patience) for name in due]
    _clear(aside)
    _clear_new(folder, set(files) - set(due))
    _flush_folder(folder)
    return tuple(one for one in unplaced if one is not None)


def _holds(path: Path, content: bytes) -> bool:
    try:
        return path.read_bytes() == content
    except OSError:
        return False


def _aside(folder: Path, name: str) -> Path:
    return folder / f".{name}.tmp"


@contextmanager
def _made_for(readers: Readers) -> Iterator[None]:
    """What is made inside is not more private than ``readers`` say. By the mask and not by chmod, which
    would take a folder's setgid bit away, or be refused it under a hardened service. The mask is the
    process's: files are issued where nothing else goes on, by a command or in the service's child."""
    if readers == "owner":
        yield
        return
    before = os.umask(0o027 if readers == "group" else 0o022)
    try:
        yield
    finally:
        os.umask(before)


def _made(path: Path, mode: int) -> BinaryIO:
    """A new file, open to be written."""
    path.unlink(missing_ok=True)  # left by a crash
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    return os.fdopen(os.open(path, flags, mode), "wb")


def _flush_all(handles: Sequence[int]) -> None:
    """What was written to ``handles`` is on disk when this returns. At once, since a disk that flushes for
    one flushes for all: in turn, a day's files take it longer than the processor takes to make them."""
    if len(handles) < 2:
        for handle in handles:
            os.fsync(handle)
        return
    with ThreadPoolExecutor(min(len(handles), FLUSHED_AT_ONCE)) as pool:
        for _ in pool.map(os.fsync, handles):
            pass


def _settle(folder: Path, name: str, patience: float) -> Unplaced | None:
    """Renames one written file into place, or beside it where the old one is locked."""
    spare = f"{name}.new"
    try:
        _replace(_aside(folder, name), folder / name, patience)
    except OSError as error:
        return Unplaced(name, _spared(folder, name, spare), error.strerror or str(error))
    _clear_new(folder, {name})
    return None


def _replace(source: Path, target: Path, patience: float) -> None:
    give_up = time.monotonic() + patience
    while True:
        try:
            os.replace(source, target)
            return
        except PermissionError:
            if time.monotonic() >= give_up:
                raise
        time.sleep(_PAUSE_SECONDS)


def _spared(folder: Path, name: str, spare: str) -> str:
    try:
        os.replace(_aside(folder, name), folder / spare)
    except OSError:
        return ""
    return spare


def _clear_new(folder: Path, names: set[str]) -> None:
    """Takes away what an earlier, refused replacement left beside files that are now current."""
    _clear(folder / f"{name}.new" for name in names)


def _clear(paths: Iterable[Path]) -> None:
    for path in paths:
        with suppress(OSError):  # held open by somebody: it goes next time
            path.unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    """Makes the renames last through a power cut. Windows and some network shares cannot flush a
    folder; there the file system's own journal has to do."""
    for path in (folder, folder.parent):
        with suppress(OSError):
            handle = os.open(path, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
