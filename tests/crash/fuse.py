"""Kills a process by its n-th act that lasts: a real SIGKILL, with nothing of its own to tidy up.

Acts are what the outside can see: files made, written, flushed, renamed, linked, taken away; bytes
sent; transactions committed. Just before an act is just after the one before it. Two more moments
lie within an act: half of a file written, and bytes sent whose answer was not heard.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import stat
import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from unrung.store.open import Store

NEVER = 0
FAULT = 70
"""Exit code of a child that failed by itself."""


class Fuse:
    """Counts moments, and dies at the ``at``-th. Only ever lit in a child process."""

    def __init__(self, at: int) -> None:
        self.at, self.moments, self._one = at, list[str](), threading.Lock()

    def moment(self, name: str, last_act: Callable[[], object] = lambda: None) -> None:
        """A moment at which the power may go; ``last_act``: what is half done then."""
        with self._one:
            self.moments.append(name)
            if len(self.moments) == self.at:
                last_act()
                os.kill(os.getpid(), signal.SIGKILL)

    def before(
        self, act: Callable[..., Any], name: str, lasts: Callable[[Any], bool] = lambda path: True
    ) -> Callable[..., Any]:
        """``act`` with a moment before it, where it changes anything."""

        def fused(*args: Any, **options: Any) -> Any:
            if lasts(args[0]):
                self.moment(f"{name} {_told(args)}")
            return act(*args, **options)

        return fused

    def light(self) -> None:
        for name in ("replace", "link", "rmdir", "chmod", "utime"):
            setattr(os, name, self.before(getattr(os, name), name))
        os.unlink = self.before(os.unlink, "unlink", os.path.lexists)
        os.mkdir = self.before(os.mkdir, "mkdir", lambda path: not os.path.lexists(path))
        Store.commit = self.before(Store.commit, "commit")  # type: ignore[method-assign]
        self._open()
        self._flush()
        self._write()
        self._copy()
        self._vacuum()
        self._send()

    def _open(self) -> None:
        """A file that is made and still empty."""
        act = os.open

        def fused(path: Any, flags: int, *args: Any, **options: Any) -> int:
            found = act(path, flags, *args, **options)
            if flags & os.O_CREAT:
                self.moment(f"made {Path(path).name}")
            return found

        os.open = fused

    def _flush(self) -> None:
        """Before it all may be there, or only part of it."""
        act = os.fsync

        def fused(handle: int) -> None:
            status = os.fstat(handle)
            self.moment("flush")
            if stat.S_ISREG(status.st_mode):
                self.moment("flush of a part", lambda: os.ftruncate(handle, status.st_size // 2))
            act(handle)

        os.fsync = fused  # type: ignore[assignment]

    def _write(self) -> None:
        act = Path.write_bytes

        def fused(path: Path, data: bytes) -> int:
            self.moment(f"write {path.name}")
            self.moment(f"write half of {path.name}", lambda: act(path, data[: len(data) // 2]))
            return act(path, data)

        Path.write_bytes = fused  # type: ignore[method-assign, assignment]

    def _copy(self) -> None:
        act = shutil.copyfile

        def fused(source: Any, target: Any, **options: Any) -> Any:
            self.moment(f"copy {Path(source).name}")
            half = Path(source).read_bytes()[: Path(source).stat().st_size // 2]
            self.moment(f"copy half of {Path(source).name}", lambda: _put(target, half))
            return act(source, target, **options)

        shutil.copyfile = fused  # type: ignore[assignment]

    def _vacuum(self) -> None:
        """A copy of the store that SQLite writes; it is half there while it does."""
        act = Store.execute

        def fused(db: Store, sql: str, parameters: Any = None) -> Any:
            found = act(db, sql, parameters)
            if sql.startswith("VACUUM INTO"):
                aside = parameters[0]
                self.moment("half a backup", lambda: os.truncate(aside, os.path.getsize(aside) // 2))
                self.moment("a backup")
            return found

        Store.execute = fused  # type: ignore[method-assign, assignment]

    def _send(self) -> None:
        """Before it nothing left; after it the other side has all of it, and we heard no answer."""
        act = socket.socket.sendall

        def fused(sock: socket.socket, data: Any, *args: Any) -> None:
            self.moment(f"send {bytes(data[:20])!r}")
            act(sock, data, *args)
            self.moment(f"sent {bytes(data[:20])!r}")

        socket.socket.sendall = fused  # type: ignore[method-assign, assignment]


def in_child(work: Callable[[], object], at: int = NEVER) -> list[str] | None:
    """Do ``work`` in a child that dies at its ``at``-th moment. The names of all moments where it got
    through, None where it was killed."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        _live(work, Fuse(at), writing)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL:
        return None
    assert os.waitstatus_to_exitcode(status) == 0, f"the child failed by itself:\n{said.decode()}"
    moments: list[str] = json.loads(said)
    return moments


def _live(work: Callable[[], object], fuse: Fuse, writing: int) -> None:
    """The child's whole life; it never comes back."""
    try:
        fuse.light()
        work()
        said, code = json.dumps(fuse.moments), 0
    except BaseException:  # noqa: BLE001 - must never return into the parent's code
        said, code = traceback.format_exc(), FAULT
    with os.fdopen(writing, "w") as pipe:
        pipe.write(said)
    os._exit(code)


def _told(args: tuple[Any, ...]) -> str:
    return " ".join(Path(one).name for one in args if isinstance(one, (str, Path)))


def _put(target: Any, data: bytes) -> None:
    with open(target, "wb") as file:
        file.write(data)
