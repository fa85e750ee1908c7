"""What a wheel carries, and what starting the program loads."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from house import PACKAGES, ROOT, module_paths, part_of, tracked_files

SLOW_LIBRARIES = {"numpy", "scipy", "pandas"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    """Names in a wheel built from the tracked files alone, as in a new clone."""
    clone, out = tmp_path_factory.mktemp("clone"), tmp_path_factory.mktemp("wheel")
    for path in tracked_files():
        target = clone / path.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation",
               "--quiet", "--wheel-dir", str(out), str(clone)]  # fmt: skip
    subprocess.run(command, check=True, stdout=sys.stderr)
    (built,) = out.iterdir()
    return set(zipfile.ZipFile(built).namelist())


def test_a_wheel_carries_both_packages_whole(wheel: set[str]) -> None:
    """Templates and type marks too: what is not Python is left out unless declared."""
    expected = {
        path.relative_to(root).as_posix()
        for root, package in PACKAGES.items()
        for path in tracked_files() if path.is_relative_to(root / package)
    }  # fmt: skip
    assert {"unrung/py.typed", "unrung_adapters/py.typed", "unrung/cli.py"} <= expected
    assert {name for name in wheel if ".dist-info/" not in name} == expected


def test_a_wheel_carries_the_licence(wheel: set[str]) -> None:
    assert [name for name in wheel if name.endswith(".dist-info/licenses/LICENSE")]
    assert "Apache License" in (ROOT / "LICENSE").read_text(encoding="utf-8")


def loaded_after(script: str, *args: str) -> set[str]:
    """Top-level names of what a fresh interpreter has loaded once ``script`` ran."""
    report = "\nimport json, sys; print('\\n' + json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", script + report, *args],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, PACKAGES))},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return {name.partition(".")[0] for name in json.loads(done.stdout.splitlines()[-1])}


COMMAND = """
from unrung.cli import main
try:
    main()
except SystemExit as end:
    assert end.code in (0, 1), end.code
"""


def test_help_loads_no_library_that_is_slow_to_load() -> None:
    loaded = loaded_after(COMMAND, "--help")
    assert "click" in loaded
    assert loaded & {*SLOW_LIBRARIES, "sqlite_utils", "apscheduler", "requests", "jinja2"} == set()


def test_status_loads_none_of_the_slow_libraries(tmp_path: Path) -> None:
    """sqlite-utils would load numpy of its own accord."""
    shutil.copytree(ROOT / "config", tmp_path / "config")
    loaded = loaded_after(COMMAND, "status", str(tmp_path / "config"))
    assert "sqlite_utils" in loaded
    assert loaded & SLOW_LIBRARIES == set()


def test_taking_in_and_keeping_load_none_of_the_slow_libraries() -> None:
    """Part after part in one interpreter: what one of them loads is there at the end."""
    for part in (parts := ("intake", "store", "mail", "adapters")):
        assert part in map(part_of, module_paths())
    names = [name for part in parts for name in module_paths() if part_of(name) == part]
    loaded = loaded_after("\n".join(f"import {name}" for name in names))
    assert loaded & SLOW_LIBRARIES == set()


def test_matching_is_what_loads_them() -> None:
    """So that the checks above do not pass for want of seeing anything."""
    assert "numpy" in loaded_after("import unrung.matching.match")
