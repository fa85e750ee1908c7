"""Programs and packages from outside that some checks need; a check without its own is skipped aloud."""

from __future__ import annotations

import json
import shutil
import subprocess
import time
from functools import cache
from pathlib import Path

import pytest
from filelock import FileLock

HERE = Path(__file__).resolve().parent
NPM = (
    "npm", "install", "--prefix", str(HERE), "--no-package-lock", "--ignore-scripts", "--no-audit",
    "--no-fund", "--loglevel=error",
)  # fmt: skip
FAILED, AGAIN_S = HERE / ".npm.failed", 300
"""Where the reason of a failure is kept, and for how long it is believed."""


def program(*names: str, without: str) -> str:
    """The first of ``names`` that is installed; else the test is skipped, saying what it would have seen."""
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip(f"{names[0]} is not installed: {without}")
    return found


def node_package(name: str, *, without: str) -> Path:
    """Folder of a package of ``package.json``, fetched where npm can; else the test is skipped."""
    problem = _fetched()
    if not _right(name):
        pytest.skip(f"{name} is not installed ({problem}): {without}")
    return HERE / "node_modules" / name


@cache
def _fetched() -> str:
    """Fetch what is lacking, one process at a time; why that failed, or ""."""
    if all(map(_right, _wanted())):
        return ""
    npm = shutil.which("npm")
    if npm is None:
        return "there is no npm"
    try:
        with FileLock(HERE / ".npm.lock", timeout=100):
            if all(map(_right, _wanted())):
                return ""
            if FAILED.exists() and time.time() - FAILED.stat().st_mtime < AGAIN_S:
                return FAILED.read_text("utf-8")
            return _fetch(npm)
    except (OSError, TimeoutError) as error:
        return f"npm could not be tried: {type(error).__name__}"


def _fetch(npm: str) -> str:
    """The others of this run do not wait for a network that did not answer the first."""
    try:
        subprocess.run([npm, *NPM[1:]], capture_output=True, timeout=60, check=True)
    except (OSError, subprocess.SubprocessError) as error:
        said = f"npm could not fetch it: {type(error).__name__}"
        FAILED.write_text(said, "utf-8")
        return said
    return ""


def _wanted() -> dict[str, str]:
    return dict(json.loads((HERE / "package.json").read_text("utf-8"))["dependencies"])


def _right(name: str) -> bool:
    """Whether the very version is there."""
    try:
        text = (HERE / "node_modules" / name / "package.json").read_text("utf-8")
    except OSError:
        return False
    return bool(json.loads(text)["version"] == _wanted()[name])
