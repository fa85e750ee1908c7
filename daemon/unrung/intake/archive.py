"""Where an export's bytes go: archived by day, or set aside with its reasons. Nothing is deleted."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import os
import shutil
from collections.abc import Sequence
from pathlib import Path

from unrung.errors import SourceError
from unrung.records import Reject


def keep(path: Path, root: Path, folder: str, sha256: str) -> str:
    """Move ``path`` to ``root/folder`` and return its new place relative to ``root``.

    A name that is taken by other contents gets the first digits of the hash; one taken by equal
    contents needs none. Raises SourceError where the move fails; the file is then where it was.
    """
    target = root / folder / path.name
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists():
            target = target.with_name(f"{target.stem}.{sha256[:8]}{target.suffix}")
        _move(path, target)
    except OSError as error:
        raise SourceError(
            f"{path} was read but cannot be moved to {target.parent} ({error.strerror}); "
            "it is skipped from now on, move it by hand or allow this account to"
        ) from error
    return target.relative_to(root).as_posix()


def said(reject: Reject) -> str:
    """What is wrong with a row, with the value that the reason speaks of."""
    return f"{reject.value[:60]!r} {reject.reason}" if reject.value else reject.reason


def write_reasons(place: Path, name: str, reason: str, rejects: Sequence[Reject]) -> None:
    """Put ``NAME.reasons.csv`` beside a file that was set aside (or where it would be)."""
    buffer = io.StringIO()
    rows = csv.writer(buffer)
    rows.writerow(("file", "line", "field", "value", "reason", "fix"))
    if not rejects or len(rejects) > 1 or reason != rejects[0].reason:
        rows.writerow((_safe(name), "", "", "", _safe(reason), ""))
    for reject in rejects:
        rows.writerow(
            (_safe(name), reject.line or "", _safe(reject.field), _safe(reject.value),
             _safe(reject.reason), _safe(reject.fix))
        )
    place.parent.mkdir(parents=True, exist_ok=True)
    target = place.with_name(place.name + ".reasons.csv")
    target.write_bytes(buffer.getvalue().encode("utf-8", "replace"))


def _safe(text: str) -> str:
    """Text cells that a spreadsheet would take for a formula are guarded (CWE-1236)."""
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\0") else text


def _move(path: Path, target: Path) -> None:
    try:
        os.replace(path, target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        _copy_away(path, target)


def _copy_away(path: Path, target: Path) -> None:
    """Across volumes: copy aside, sync, compare, rename, and only then take the first one away."""
    aside = target.with_name(target.name + ".part")
    shutil.copy2(path, aside)
    with aside.open("r+b") as file:
        os.fsync(file.fileno())
    if _hash(aside) != _hash(path):
        aside.unlink()
        raise OSError(errno.EIO, "the copy differs from the file")
    os.replace(aside, target)
    path.unlink()


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
