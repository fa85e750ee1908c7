"""A disk of a set size, and an account with fewer rights: where the machine lets a test have them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(place: Path, kilobytes: int) -> Iterator[Path]:
    """A memory disk at ``place``, another volume than its surroundings. Skips without the right."""
    place.mkdir(exist_ok=True)
    if not sys.platform.startswith("linux") or os.geteuid() != 0:
        pytest.skip("only root on Linux may mount a disk")
    command = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place)]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("this machine does not allow mounting")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


@contextmanager
def unchangeable(folder: Path) -> Iterator[None]:
    """Nobody, not even root, may put anything into ``folder``. Skips where that cannot be had."""
    if not shutil.which("chattr") or os.geteuid() != 0:
        pytest.skip("only root on Linux may lock a folder")
    if subprocess.run(["chattr", "+i", str(folder)], capture_output=True, check=False).returncode:
        pytest.skip("this file system does not lock folders")
    try:
        yield
    finally:
        subprocess.run(["chattr", "-i", str(folder)], check=True)


@contextmanager
def as_nobody() -> Iterator[None]:
    """File modes hold for this process as for an ordinary account; after ``give_to_nobody``."""
    os.seteuid(65534)
    try:
        if not os.access(sys.prefix, os.R_OK | os.X_OK, effective_ids=True):
            pytest.skip("other accounts may not read the folder that this Python's packages lie in")
        yield
    finally:
        os.seteuid(0)


@contextmanager
def open_folder() -> Iterator[Path]:
    """A folder that any account may reach, unlike pytest's own."""
    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        yield Path(name)


def give_to_nobody(folder: Path) -> None:
    """``folder`` and all below it belong to the account that ``as_nobody`` takes on."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can give its rights up")
    for path in (folder, *folder.rglob("*")):
        os.chown(path, 65534, 65534)
