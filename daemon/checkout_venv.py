"""The checkout's own virtual environment: what ``python3 daemon`` and ``python3 tests`` share.

Standard library only, since it runs before anything is installed. ``.venv`` carries a stamp of what
it was made from: with the same stamp a second run is quick, a broken or half-made ``.venv`` is made
anew, a changed ``pyproject.toml`` installs again.
"""

from __future__ import annotations

import hashlib
import importlib.util
import io
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from watched_run import CannotStart, clean_env, passed_on, say, watched

ROOT = Path(__file__).resolve().parent.parent
STAMP = "unrung-stamp.json"
COULD_NOT_FINISH = 3

Step = Literal["none", "install", "make"]


class Stamp(NamedTuple):
    """What a finished ``.venv`` was made from."""

    python: str
    root: str
    pyproject: str
    extras: tuple[str, ...]


def main(command: Callable[[Sequence[str]], int], args: Sequence[str]) -> int:
    """Run ``command``; its exit code, or 3 where the environment cannot be made."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # consoles of old Windows know few characters
    try:
        return command(args)
    except CannotStart as problem:
        say(str(problem), sys.stderr)
        return COULD_NOT_FINISH
    except KeyboardInterrupt:
        say("Stopped.", sys.stderr)
        return 130


def run_demo(args: Sequence[str]) -> int:
    """``unrung demo`` from the checkout's environment, in the folder where the caller stands."""
    python = ready(ROOT, ())
    code = subprocess.call([str(python), "-m", "unrung", "demo", *args], env=clean_env())
    return code if code >= 0 else 128 - code


def run_tests(args: Sequence[str]) -> int:
    """pytest, ``ruff check`` and mypy, then what came of each; with ``args``, pytest alone.

    The last line is pytest's own closing line; the exit code is 0 only where all three passed.
    """
    python = str(ready(ROOT, ("test",)))
    keep_compiled()
    colour = ["--color=yes"] if sys.stdout.isatty() else []
    if args:
        return passed_on([python, "-m", "pytest", *colour, *args], ROOT)[0]
    checkers = {
        " ".join(words): subprocess.Popen(
            [python, "-m", *words], cwd=ROOT, env=clean_env(), stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, encoding="utf-8", errors="replace",
        )
        for words in (["ruff", "check", "--output-format=concise"], ["mypy"])
    }  # beside the tests, which do not keep two processors busy all the time
    spread = ["-n", str(at_a_time(processors())), "--dist", "loadfile"]
    code, closing = passed_on([python, "-m", "pytest", *colour, *spread], ROOT)
    codes = {"pytest": code}
    for words, checker in checkers.items():
        say(f"\n{words}:\n{checker.communicate()[0].rstrip()}")
        codes[words.split()[0]] = checker.returncode
    said = "".join(f"{name:8}{verdict(code)}\n" for name, code in codes.items())
    say("\n" + said + left_out(closing) + closing)
    return 1 if any(codes.values()) else 0


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def at_a_time(count: int) -> int:
    """How many processes run tests on ``count`` processors: one more, since some of them always wait for
    real servers and services; not more than five, each of which takes half a gigabyte.

    >>> at_a_time(1), at_a_time(2), at_a_time(16)
    (2, 3, 5)
    """
    return min(count + 1, 5)


def keep_compiled() -> None:
    """Let Python keep what it compiles, also where its environment says not to: the tests start a hundred
    interpreters, and each would compile the program and its libraries for itself, which takes it seconds."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def left_out(closing: str) -> str:
    """A line about checks that could not run here, by pytest's closing line; "" where all could.

    >>> left_out("1500 passed, 3 skipped in 200.01s")
    '3 checks could not run here; NOT CHECKED HERE above names them\\n'
    """
    found = re.search(r"(\d+) skipped", closing)
    if found is None:
        return ""
    count = f"{found[1]} check{'s' if found[1] != '1' else ''}"
    return f"{count} could not run here; NOT CHECKED HERE above names them\n"


def verdict(code: int) -> str:
    """``code`` of a finished program in words."""
    return "passed" if code == 0 else f"FAILED (exit code {code}), see above"


def ready(root: Path, extras: Sequence[str]) -> Path:
    """The Python of ``root/.venv`` with the project and ``extras`` in it, made where need be.

    Raises CannotStart where that cannot be.
    """
    venv, wanted = root / ".venv", wanted_stamp(root, extras)
    have = read_stamp(venv)
    step = next_step(have, wanted, works(venv, installed=have is not None))
    if step == "none":
        return venv_python(venv)
    if step == "make":
        _make(venv)
    elif have is not None:
        wanted = wanted._replace(extras=tuple(sorted({*have.extras, *wanted.extras})))
    _install(venv, root, wanted.extras)
    (venv / STAMP).write_text(json.dumps(wanted._asdict(), indent=2), encoding="utf-8")
    return venv_python(venv)


def wanted_stamp(root: Path, extras: Sequence[str]) -> Stamp:
    """The stamp that an environment for ``extras`` would get, made now by this Python."""
    return Stamp(
        python=f"{platform.python_version()} {platform.machine()} {sys.base_prefix}",
        root=str(root),
        pyproject=hashlib.sha256((root / "pyproject.toml").read_bytes()).hexdigest(),
        extras=tuple(sorted(extras)),
    )


def read_stamp(venv: Path) -> Stamp | None:
    """The stamp of ``venv``; None without one. A half-made ``venv`` has one equal to no other."""
    try:
        text = (venv / STAMP).read_text(encoding="utf-8")
    except OSError:
        return None
    try:
        stamp = Stamp(**json.loads(text))
        return stamp._replace(extras=tuple(stamp.extras))
    except (TypeError, ValueError):
        return Stamp("", "", "", ())


def next_step(have: Stamp | None, wanted: Stamp, working: bool) -> Step:
    """What is left to do. A working ``.venv`` without a stamp was made by hand: it is kept."""
    if not working:
        return "make"
    if have is None:
        return "install"
    if (have.python, have.root) != (wanted.python, wanted.root):
        return "make"
    same = have.pyproject == wanted.pyproject and {*wanted.extras} <= {*have.extras}
    return "none" if same else "install"


def venv_python(venv: Path) -> Path:
    """Where the interpreter of ``venv`` is on this system."""
    return venv / "Scripts" / "python.exe" if os.name == "nt" else venv / "bin" / "python"


def works(venv: Path, *, installed: bool) -> bool:
    """Whether the Python of ``venv`` starts and finds pip, and Unrung where ``installed``."""
    needs = "import pip._internal" + ("; import unrung" if installed else "")
    command = [str(venv_python(venv)), "-P", "-c", needs]  # -P: from 3.11 on, and not from here
    try:
        done = subprocess.run(command, env=clean_env(), capture_output=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def how_to_get(lacking: Sequence[str]) -> str:
    """What to install where this Python comes without ``lacking`` (parts of its library)."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return (
        f"This Python ({platform.python_version()}, {sys.executable}) comes without "
        f"{' and '.join(lacking)}; Unrung needs that to make a folder for its libraries.\n"
        "On Debian or Ubuntu, install it and run the same command again:\n"
        "    sudo apt install python3-venv\n"
        f"If the message stays, the package of this very version: python{version}-venv.\n"
        "Elsewhere: your system's venv package for Python, or the full installer of python.org."
    )


def _make(venv: Path) -> None:
    lacking = [part for part in ("venv", "ensurepip") if importlib.util.find_spec(part) is None]
    if lacking:
        raise CannotStart(how_to_get(lacking))
    say(f"Making {venv} (once; a later run starts at once)")
    try:
        if venv.is_symlink() or venv.is_file():
            venv.unlink()
        elif venv.exists():
            shutil.rmtree(venv)
        venv.mkdir()
        (venv / STAMP).write_text("unfinished", encoding="utf-8")
    except OSError as problem:
        raise CannotStart(
            f"{venv} cannot be made: {problem.strerror}.\n"
            f"Put the folder {venv.parent} where you may write, close programs that still use it, "
            "and run the same command again."
        ) from problem
    python = getattr(sys, "_base_executable", "") or sys.executable
    watched([python, "-m", "venv", str(venv)], "making the environment")


def _install(venv: Path, root: Path, extras: Sequence[str]) -> None:
    began = time.monotonic()
    say("Installing Unrung and its libraries" + (f" for {', '.join(extras)}" if extras else ""))
    command = [
        str(venv_python(venv)), "-m", "pip", "install", "--disable-pip-version-check", "--no-input",
        "--no-compile", "--progress-bar", "off", "--prefer-binary", "--only-binary", "numpy,scipy",
        "--editable", f".[{','.join(extras)}]" if extras else ".",
    ]  # fmt: skip
    watched(command, "installing", cwd=root)
    say(f"Ready after {time.monotonic() - began:.0f} s\n")
