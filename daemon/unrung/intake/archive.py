"""Where an export's bytes go: archived by day, or set aside with its reasons. Nothing is deleted."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import os
import shutil
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from unrung.errors import SourceError
from unrung.records import Reject

REASONS = ".reasons.csv"
NAME_BYTES = 255 - len(".12345678") - len(REASONS)
"""Longest name that leaves room for both additions on the usual file systems."""


def printable(name: str) -> str:
    """A file's name, safe to store and print: bytes that are no UTF-8 are written as %FF.

    >>> printable(os.fsdecode(b"caf\\xe9.csv"))
    'caf%E9.csv'
    """
    out = ""
    for letter in name:
        lone = "\ud800" <= letter <= "\udfff"
        out += f"%{ord(letter) & 0xFF:02X}" if lone else letter
    return out


def free_place(root: Path, folder: str, name: str, sha256: str) -> str:
    """A path below ``root`` that no file with other contents has: ``folder/name``, or the same with
    the first digits of the hash."""
    stem, suffix = os.path.splitext(name)
    while len(os.fsencode(stem + suffix)) > NAME_BYTES:
        stem, suffix = (stem[:-1], suffix) if stem else (stem, suffix[:-1])
    for place in (f"{folder}/{stem}{suffix}", f"{folder}/{stem}.{sha256[:8]}{suffix}"):
        if not (root / place).exists() or hash_of(root / place) == sha256:
            break
    return place


def move(path: Path, target: Path) -> None:
    """Move ``path`` to ``target``, across volumes too. Raises SourceError where that fails; the file
    is then where it was."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.replace(path, target)
        except OSError as error:
            if error.errno != errno.EXDEV:
                raise
            _copy_away(path, target)
        _keep_private(target)
    except OSError as error:
        raise SourceError(
            f"{path} was read but cannot be moved to {target.parent} ({error.strerror}); "
            "it is not read again, and moved as soon as this account may"
        ) from error


def _keep_private(path: Path) -> None:
    """Whatever the program that wrote it allowed, a kept export is read by this account only."""
    if os.name == "posix":
        with suppress(OSError):  # somebody else's file, or a share without modes
            path.chmod(0o600)


def hash_of(path: Path) -> str:
    """SHA-256 of a file's contents; empty where it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def said(reject: Reject) -> str:
    """What is wrong with a row, with the value that the reason speaks of."""
    told = not reject.value or reject.value in reject.reason
    return reject.reason if told else f"{reject.value[:60]!r} {reject.reason}"


def sentence(reject: Reject) -> str:
    """What is wrong with a row and what to do about it.

    >>> sentence(Reject(3, "at", "1970", "is too early: is the clock right?", "Set the clock.", {}))
    "'1970' is too early: is the clock right? Set the clock."
    """
    text = said(reject)
    return f"{text}{'' if text.endswith(('.', '?', '!')) else '.'} {reject.fix}"


def write_reasons(kept: Path, name: str, reason: str, rejects: Sequence[Reject]) -> None:
    """Put ``NAME.reasons.csv`` beside ``kept``, the place of an export (or where it would be).

    Raises SourceError where that fails: they stand in the store all the same.
    """
    buffer = io.StringIO()
    rows = csv.writer(buffer)
    rows.writerow(("file", "line", "field", "value", "reason", "fix"))
    if reason and (len(rejects) != 1 or rejects[0].reason not in reason):
        rows.writerow((_safe(name), "", "", "", _safe(reason), ""))
    for reject in rejects:
        rows.writerow(
            (_safe(name), reject.line or "", _safe(reject.field), _safe(reject.value),
             _safe(reject.reason), _safe(reject.fix))
        )
    _write_whole(reasons_of(kept), buffer.getvalue().encode("utf-8", "replace"))


def _write_whole(target: Path, content: bytes) -> None:
    """Aside first, then renamed: a stop half way leaves the earlier file or none, never half of one."""
    aside = target.with_name(f".{target.name}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        aside.write_bytes(content)
        os.replace(aside, target)
    except OSError as error:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        raise SourceError(f"{target} cannot be written ({error.strerror})") from error


def remove_reasons(kept: Path) -> None:
    """Take the reasons of an export away that is in order now."""
    with suppress(OSError):
        reasons_of(kept).unlink(missing_ok=True)


def reasons_of(kept: Path) -> Path:
    return kept.with_name(kept.name + REASONS)


def _safe(text: str) -> str:
    """Text cells that a spreadsheet would take for a formula are guarded (CWE-1236)."""
    return "'" + text if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\0") else text


def _copy_away(path: Path, target: Path) -> None:
    """Across volumes: copy aside, sync, compare, rename, and only then take the first one away."""
    aside = target.with_name(f".{target.name}.part")
    try:
        shutil.copyfile(path, aside)
        with suppress(OSError):  # some volumes keep no times
            shutil.copystat(path, aside)
        with aside.open("r+b") as file:
            os.fsync(file.fileno())
        if hash_of(aside) != hash_of(path):
            raise OSError(errno.EIO, "the copy differs from the file")
        os.replace(aside, target)
    except OSError:
        aside.unlink(missing_ok=True)
        raise
    path.unlink()
