"""A disk of a set size, and an account with fewer rights: where the machine lets a test have them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
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
    """File modes hold for this process as for an ordinary account. Skips where they hold already."""
    if not hasattr(os, "seteuid") or os.geteuid() != 0:
        pytest.skip("only root can give its rights up")
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
