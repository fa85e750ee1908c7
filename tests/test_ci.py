"""``.ci/run`` gets what is lacking where it can, says aloud where it cannot, and always runs the tests."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
BASH = shutil.which("bash")
TOOLS = ("dirname", "timeout", "bash", "env", "mkdir", "touch", "cat")
ALL = ("chromium", "soffice", "faketime", "strace", "npm")
pytestmark = pytest.mark.skipif(
    os.name != "posix" or BASH is None, reason="no bash here: .ci/run was NOT checked"
)


def script(path: Path, *lines: str) -> None:
    path.write_text("\n".join(["#!/usr/bin/env bash", *lines, ""]), "utf-8")
    path.chmod(0o755)


def run(folder: Path, have: Sequence[str], *, user: str = "0", **programs: str) -> tuple[str, list[str]]:
    """Run it in a checkout of nothing but itself, on a machine that has only ``have`` and ``programs``
    (name to what it does). What it said, and every call of a program, in order."""
    (folder / ".ci").mkdir(parents=True)
    shutil.copy(ROOT / ".ci" / "run", folder / ".ci" / "run")
    box, log = folder / "bin", folder / "calls"
    box.mkdir()
    for tool in TOOLS:
        (box / tool).symlink_to(shutil.which(tool) or tool)
    script(box / "id", f"echo {user}")
    for name, deed in {"python3": "exit 7", **dict.fromkeys(have, "exit 0"), **programs}.items():
        script(box / name.replace("_", "-"), f'echo "{name} $*" >> "{log}"', deed)
    done = subprocess.run(
        [str(BASH), str(folder / ".ci" / "run")], env={"PATH": str(box)}, capture_output=True, text=True,
        timeout=60,
    )
    assert done.returncode == 7, done.stderr  # the tests' own exit code
    return done.stdout, log.read_text("utf-8").splitlines()


def test_with_everything_there_it_only_runs_the_tests(tmp_path: Path) -> None:
    for name in ("axe-core", "caniemail"):
        (tmp_path / "tests" / "node_modules" / name).mkdir(parents=True)
        (tmp_path / "tests" / "node_modules" / name / "package.json").touch()
    assert run(tmp_path, ALL, apt_get="exit 0") == ("", ["python3 tests"])


def test_what_lacks_is_installed_and_then_the_tests_run(tmp_path: Path) -> None:
    said, calls = run(tmp_path, ["npm"], apt_get="exit 0")
    assert "installed chromium libreoffice-calc faketime strace" in said
    assert [call.split()[0] for call in calls] == ["apt_get", "apt_get", "npm", "python3"]
    assert calls[1].endswith("install --no-install-recommends chromium libreoffice-calc faketime strace")
    assert calls[-1] == "python3 tests"


@pytest.mark.parametrize(
    ("programs", "user", "why"),
    [
        ({}, "0", "no apt-get or no right"),
        ({"apt_get": "exit 0", "sudo": "exit 1"}, "1000", "no apt-get or no right"),
        ({"apt_get": "exit 100"}, "0", "apt-get failed"),
    ],
    ids=["no apt-get", "no root", "no network"],
)
def test_what_cannot_be_had_is_said_and_the_tests_run(
    programs: dict[str, str], user: str, why: str, tmp_path: Path
) -> None:
    said, calls = run(tmp_path, [], user=user, **programs)
    assert "NOT INSTALLED" in said and why in said
    assert "chromium libreoffice-calc faketime strace nodejs npm" in said
    assert "there is no npm" in said and calls[-1] == "python3 tests"


def test_npm_without_a_network_is_said_too(tmp_path: Path) -> None:
    said, calls = run(tmp_path, ALL[:2], npm="exit 1")
    assert "since npm failed" in said and calls[-1] == "python3 tests"
