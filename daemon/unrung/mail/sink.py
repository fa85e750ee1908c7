"""A mail server for demo and trial: it takes every mail on this machine and keeps it in memory.

A small part of RFC 5321, plain, on 127.0.0.1 only, without log-in. Not a relay: nothing leaves.
"""

from __future__ import annotations

import socketserver
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Thread

LINE_LIMIT = 1000
"""RFC 5321, section 4.5.3.1.6: a text line with its CRLF."""
MESSAGE_LIMIT = 32 * 1024 * 1024
IDLE_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Received:
    """One mail as it came, dot-unstuffed."""

    sender: str
    recipients: tuple[str, ...]
    content: bytes


@dataclass(slots=True)
class Sink:
    """A running server."""

    host: str
    port: int
    received: list[Received] = field(default_factory=list)


@contextmanager
def sink() -> Iterator[Sink]:
    """Serves on a free port of the loopback address until the block ends."""
    with _Server(("127.0.0.1", 0), _Session) as server:
        running = Sink(*server.server_address[:2])  # type: ignore[arg-type]
        server.received = running.received
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        thread.start()
        try:
            yield running
        finally:
            server.shutdown()
            thread.join()


class _Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = False
    received: list[Received]


class _Session(socketserver.StreamRequestHandler):
    """One connection; RFC 5321, section 4.1.4 gives the order of commands."""

    timeout = IDLE_SECONDS
    server: _Server

    def handle(self) -> None:
        self.sender: str | None = None
        self.recipients: list[str] = []
        try:
            self._say("220 unrung demo sink, local only")
            while self._command():
                pass
        except OSError:
            return  # the other side went away

    def _command(self) -> bool:
        """Answers one command; False when the session is over."""
        raw = self.rfile.readline(LINE_LIMIT + 1)
        if not raw:
            return False
        if len(raw) > LINE_LIMIT or not raw.endswith(b"\n"):
            self._say("500 line too long")
            return False
        line = raw.decode("utf-8", "replace").strip()
        verb, _, rest = line.partition(" ")
        if verb.upper() == "QUIT":
            self._say("221 bye")
            return False
        answer = _ANSWERS.get(verb.upper())
        self._say(answer(self, rest) if answer else "500 unknown command")
        return True

    def _ehlo(self, rest: str) -> str:
        self._reset()
        return f"250-unrung\r\n250-8BITMIME\r\n250 SIZE {MESSAGE_LIMIT}"

    def _helo(self, rest: str) -> str:
        self._reset()
        return "250 unrung"

    def _mail(self, rest: str) -> str:
        if self.sender is not None:
            return "503 sender already given"
        path = _path(rest, "FROM:")
        if path is None:
            return "501 write MAIL FROM:<address>"
        self.sender = path
        return "250 ok"

    def _rcpt(self, rest: str) -> str:
        if self.sender is None:
            return "503 MAIL first"
        path = _path(rest, "TO:")
        if not path:
            return "501 write RCPT TO:<address>"
        self.recipients.append(path)
        return "250 ok"

    def _data(self, rest: str) -> str:
        if self.sender is None or not self.recipients:
            return "503 RCPT first"
        self._say("354 end with a dot on a line of its own")
        content = self._content()
        if content is None:
            return "552 too much mail data"
        self.server.received.append(Received(self.sender, tuple(self.recipients), content))
        self._reset()
        return "250 kept in memory"

    def _content(self) -> bytes | None:
        """Lines up to the single dot, leading dots taken off (section 4.5.2); None if too big."""
        lines: list[bytes] = []
        size = 0
        while (line := self.rfile.readline(LINE_LIMIT * 64)) != b".\r\n":
            if not line:
                raise ConnectionError("the sender left in the middle of a mail")
            size += len(line)
            if size <= MESSAGE_LIMIT:
                lines.append(line[1:] if line.startswith(b".") else line)
        return b"".join(lines) if size <= MESSAGE_LIMIT else None

    def _rset(self, rest: str) -> str:
        self._reset()
        return "250 ok"

    def _noop(self, rest: str) -> str:
        return "250 ok"

    def _reset(self) -> None:
        self.sender, self.recipients = None, []

    def _say(self, text: str) -> None:
        self.wfile.write(text.encode() + b"\r\n")


_ANSWERS = {
    "EHLO": _Session._ehlo, "HELO": _Session._helo, "MAIL": _Session._mail,
    "RCPT": _Session._rcpt, "DATA": _Session._data, "RSET": _Session._rset,
    "NOOP": _Session._noop,
}


def _path(rest: str, word: str) -> str | None:
    """The address between angle brackets after FROM: or TO:; None where it is not written so."""
    if not rest.upper().startswith(word):
        return None
    path, closed, _ = rest[len(word) :].strip().removeprefix("<").partition(">")
    return path if closed else None
