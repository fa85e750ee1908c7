"""Starts of the program that do not wait for an interpreter to read it each time.

One process per test run reads the program, and forks for every start. What runs is the program itself, in a
process of its own, with its own arguments, folder, environment, output, signals and end. Where the system
cannot fork, and where the environment has to be there before the interpreter is, it starts by itself.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import runpy
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

ROOT = Path(__file__).resolve().parent.parent
READ_BEFORE = ("unrung.cli", "unrung.service.run", "unrung.catch_up", "unrung.checking", "unrung.reissuing",
               "unrung.status", "unrung.restoring", "unrung.setup.propose", "unrung.demo")
"""None of them loads numpy or scipy; what needs those reads them itself, as ever."""
BEFORE_THE_INTERPRETER = {"LD_PRELOAD"}
CAN_FORK = hasattr(os, "fork")

Code = str
"""Python that stands after ``-c``; "" for ``-m unrung``."""
_ONE_AT_A_TIME = threading.Lock()


def environment(more: Mapping[str, str] | None = None) -> dict[str, str]:
    """This process's, with the checkout to import from."""
    paths = os.pathsep.join([str(ROOT / "daemon"), str(ROOT / "adapters")])
    return {**os.environ, "PYTHONPATH": paths, **(more or {})}


class Started:
    """A process that was forked: as much of ``subprocess.Popen`` as tests ask for."""

    def __init__(
        self, words: Sequence[str], environ: Mapping[str, str], out: str, err: str, code: Code = ""
    ) -> None:
        self.returncode: int | None = None
        self.pid: int = _ask({"words": [*words], "environ": {**environ}, "out": out, "err": err, "code": code,
                              "folder": os.getcwd()})

    def poll(self) -> int | None:
        if self.returncode is None:
            self.returncode = _ask({"ended": self.pid})
        return self.returncode

    def wait(self, timeout: float = 120.0) -> int:
        end = time.monotonic() + timeout
        while self.poll() is None:
            if time.monotonic() > end:
                raise subprocess.TimeoutExpired(str(self.pid), timeout)
            time.sleep(0.01)
        assert self.returncode is not None
        return self.returncode

    def send_signal(self, how: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, how)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


Process = subprocess.Popen[bytes] | Started


def start(
    words: Sequence[str], environ: Mapping[str, str], *, out: str = os.devnull, err: str = os.devnull,
    code: Code = "",
) -> Process:
    """``unrung`` with ``words``, or ``code`` with them; its words go to the files ``out`` and ``err``."""
    if CAN_FORK and not BEFORE_THE_INTERPRETER & environ.keys():
        return Started(words, environ, out, err, code)
    with open(out, "wb") as stdout, open(err, "wb") as stderr:
        return subprocess.Popen(_command(words, code), env=environ, stdout=stdout, stderr=stderr)


def to_its_end(
    words: Sequence[str], environ: Mapping[str, str], timeout: float = 60.0, *, code: Code = ""
) -> subprocess.CompletedProcess[str]:
    """One command of the command line, or ``code`` with ``words``: exit code, and what it printed."""
    if not CAN_FORK:
        return subprocess.run(
            _command(words, code), env=environ, text=True, capture_output=True, timeout=timeout)
    with tempfile.TemporaryDirectory() as folder:
        out, err = Path(folder, "out"), Path(folder, "err")
        process = Started(words, environ, str(out), str(err), code)
        try:
            ended = process.wait(timeout)
        finally:
            process.kill()
        return subprocess.CompletedProcess([*words], ended, out.read_text("utf-8"), err.read_text("utf-8"))


def _command(words: Sequence[str], code: Code = "") -> list[str]:
    return [sys.executable, *(["-c", code] if code else ["-m", "unrung"]), *words]


@cache
def _starter() -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, __file__], env=environment({"PYTHONUTF8": "1"}), stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, text=True, start_new_session=True,
    )
    atexit.register(process.communicate)  # it ends with its input
    return process


def _ask(question: dict[str, Any]) -> Any:
    with _ONE_AT_A_TIME:
        starter = _starter()
        assert starter.stdin and starter.stdout
        starter.stdin.write(json.dumps(question) + "\n")
        starter.stdin.flush()
        return json.loads(starter.stdout.readline())


def serve() -> None:
    """The process that reads the program once and forks."""
    for name in READ_BEFORE:
        __import__(name)
    gc.freeze()  # or every fork copies the pages of all that was read
    while line := os.read(0, 1 << 20):
        while not line.endswith(b"\n"):
            line += os.read(0, 1 << 20)
        question = json.loads(line)
        if "ended" in question:
            pid, status = os.waitpid(question["ended"], os.WNOHANG)
            answer = os.waitstatus_to_exitcode(status) if pid else None
        else:
            answer = os.fork()
            if not answer:
                become(question)
        os.write(1, json.dumps(answer).encode() + b"\n")


def become(asked: dict[str, Any]) -> NoReturn:
    """Go on as a process that was started so, to its end."""
    for handle, path, flags in ((0, os.devnull, os.O_RDONLY), (1, asked["out"], os.O_WRONLY | os.O_CREAT),
                                (2, asked["err"], os.O_WRONLY | os.O_CREAT)):
        opened = os.open(path, flags, 0o600)
        os.dup2(opened, handle)
        os.close(opened)
    os.chdir(asked["folder"])
    os.environ.clear()
    os.environ.update(asked["environ"])
    time.tzset()
    sys.path[0] = asked["folder"]
    code: object = 0
    try:
        if asked["code"]:
            sys.argv = ["-c", *asked["words"]]
            exec(asked["code"], {"__name__": "__main__"})
        else:
            sys.argv = ["unrung", *asked["words"]]
            runpy.run_module("unrung", run_name="__main__", alter_sys=True)
    except SystemExit as end:
        code = end.code or 0
        if not isinstance(code, int):
            print(code, file=sys.stderr)
    except BaseException:  # noqa: BLE001 - told as the interpreter tells it
        traceback.print_exc()
        code = 1
    # What an interpreter does at its end, but for taking every module apart, which takes longer than a start.
    threading._shutdown()  # type: ignore[attr-defined]
    atexit._run_exitfuncs()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code if isinstance(code, int) else 1)


if __name__ == "__main__":
    serve()
