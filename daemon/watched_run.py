"""Running pip and its like so that a person sees that it goes on; used by ``checkout_venv``."""

from __future__ import annotations

import os
import queue
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, TextIO

SILENCE_SECONDS = 8.0
"""After this long without a line a person wonders whether it hangs, so one is written."""


class CannotStart(Exception):
    """Says to a person what is missing and what to do; shown without a traceback."""


def say(text: str, stream: TextIO | None = None) -> None:
    """Write a line at once, so that it stands before what a program started next writes."""
    print(text, file=stream or sys.stdout, flush=True)


def clean_env() -> dict[str, str]:
    """The environment without what would send Python or pip somewhere else than to ``.venv``."""
    elsewhere = {"PYTHONHOME", "PYTHONPATH", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT"}
    kept = {name: value for name, value in os.environ.items() if name.upper() not in elsewhere}
    return {**kept, "PIP_USER": "0"}


def watched(command: Sequence[str], doing: str, cwd: Path | None = None) -> None:
    """Run ``command`` to its end and show how far it is; CannotStart where it fails."""
    said: list[str] = []
    began = shown = time.monotonic()
    with subprocess.Popen(
        command, cwd=cwd, env=clean_env(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, text=True, errors="replace",
    ) as running:  # fmt: skip
        for line in _lines_and_pauses(running.stdout):
            now = time.monotonic()
            said += [line] if line else []
            short = short_form(line)
            if not short and now - shown > SILENCE_SECONDS:
                short = f"still {doing} ({now - began:.0f} s)"
            if short:
                say("  " + short)
                shown = now
    if running.returncode:
        raise CannotStart(_failed(doing, said))


def short_form(line: str) -> str:
    """The short form of a line that pip wrote; empty where it is not worth showing.

    >>> short_form("  Downloading scipy-1.17.1-cp311-cp311-win_amd64.whl (35.3 MB)")
    'scipy 1.17.1 (35.3 MB)'
    >>> short_form("Installing collected packages: click, numpy")
    'installing 2 packages'
    """
    fetched = re.match(r"\s*Downloading (\S+?)-(\d[^-\s]*)\S* (\(.* MB\))", line)
    if fetched:
        return " ".join(fetched.groups())
    if line.startswith("Installing collected packages:"):
        return f"installing {line.count(',') + 1} packages"
    if "WARNING: Retrying" in line:
        return "no connection, trying again"
    return line.strip() if re.match(r"\s*ERROR:", line) else ""


def passed_on(command: Sequence[str], cwd: Path) -> tuple[int, str]:
    """Run ``command`` with its output passed on as it comes; its exit code and its last line."""
    tail = b""
    with subprocess.Popen(command, cwd=cwd, env=clean_env(), stdout=subprocess.PIPE) as running:
        while chunk := os.read(running.stdout.fileno(), 65536) if running.stdout else b"":
            sys.stdout.buffer.write(chunk)
            sys.stdout.flush()
            tail = (tail + chunk)[-4000:]
    lines = tail.decode(errors="replace").rstrip().splitlines()
    return running.returncode, lines[-1] if lines else ""


def _lines_and_pauses(stream: IO[str] | None) -> Iterator[str]:
    """The lines of ``stream`` as they come, and an empty one for every second without."""
    lines: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        for line in stream or ():
            lines.put(line.rstrip())
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    while True:
        try:
            line = lines.get(timeout=1)
        except queue.Empty:
            line = ""
        if line is None:
            return
        yield line


def _failed(doing: str, said: Sequence[str]) -> str:
    errors = list(dict.fromkeys(line.strip() for line in said if re.match(r"\s*ERROR:", line)))
    narrow = "This is a 32-bit Python; numpy and scipy need a 64-bit one.\n"
    return (
        f"It failed while {doing}:\n"
        + "".join(f"    {line}\n" for line in errors or said[-12:])
        + (narrow if sys.maxsize < 2**32 else "")
        + "Is this PC on-line, and is there room on the disk? Behind a proxy, set HTTPS_PROXY.\n"
        "Then run the same command again."
    )
