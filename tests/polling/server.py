"""A real web server on the loopback address that plays a script, faults of the field included."""

from __future__ import annotations

import ssl
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import NamedTuple
from urllib.parse import parse_qsl, urlsplit

HOST = "127.0.0.1"


class Asked(NamedTuple):
    """One request as it came in."""

    path: str
    query: dict[str, str]
    headers: dict[str, str]
    """Names in lower case."""


class Reply(NamedTuple):
    """What the server sends. An iterator as body is sent in chunks until the client goes away."""

    body: bytes | Iterator[bytes] = b""
    status: int = 200
    headers: Mapping[str, str] = {}
    pause: float = 0.0
    """Seconds of silence before the answer."""
    drip: float = 0.0
    """Seconds between single bytes of the body."""
    drip_headers: float = 0.0
    """Seconds between single bytes of the headers."""
    promised: int = 0
    """Bytes that Content-Length promises beyond those that come."""


Play = Callable[[Asked], Reply]


@dataclass
class Served:
    """A running server and what it was asked."""

    url: str
    asked: list[Asked] = field(default_factory=list)


@contextmanager
def serving(play: Play, tls: ssl.SSLContext | None = None) -> Iterator[Served]:
    """A server that answers every GET with what ``play`` makes of it."""
    over = threading.Event()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            asked = Asked(parts.path, dict(parse_qsl(parts.query, keep_blank_values=True)),
                          {name.lower(): value for name, value in self.headers.items()})
            served.asked.append(asked)
            with suppress(ConnectionError, ssl.SSLError):
                _send(self, play(asked), over)
            self.close_connection = True

        def log_message(self, format: str, *args: object) -> None:
            """The test's own log must hold nothing but the program's."""

    server = ThreadingHTTPServer((HOST, 0), Handler)
    server.daemon_threads = True
    server.block_on_close = False
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    scheme = "http" if tls is None else "https"
    served = Served(f"{scheme}://{HOST}:{server.server_port}")
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield served
    finally:
        over.set()
        server.shutdown()
        server.server_close()


def in_turn(*replies: Reply) -> Play:
    """The replies one after the other; the last one goes on for ever."""
    left = list(replies)
    return lambda asked: left.pop(0) if len(left) > 1 else left[0]


def _send(handler: BaseHTTPRequestHandler, reply: Reply, over: threading.Event) -> None:
    if over.wait(reply.pause):
        return
    whole = isinstance(reply.body, bytes)
    lines = [f"HTTP/1.1 {reply.status} Whatever", "Connection: close"]
    lines += [f"{name}: {value}" for name, value in reply.headers.items()]
    if whole and reply.status not in (204, 304):
        lines.append(f"Content-Length: {len(reply.body) + reply.promised}")
    elif not whole:
        lines.append("Transfer-Encoding: chunked")
    _write(handler, "\r\n".join([*lines, "", ""]).encode(), reply.drip_headers, over)
    if whole:
        _write(handler, reply.body, reply.drip, over)
        return
    for part in reply.body:
        if over.is_set():
            return
        handler.wfile.write(b"%X\r\n%s\r\n" % (len(part), part))
    handler.wfile.write(b"0\r\n\r\n")


def _write(handler: BaseHTTPRequestHandler, data: bytes, drip: float, over: threading.Event) -> None:
    if not drip:
        handler.wfile.write(data)
        return
    for at in range(len(data)):
        if over.wait(drip):
            return
        handler.wfile.write(data[at : at + 1])
        handler.wfile.flush()


def wait_until(true: Callable[[], bool], seconds: float = 5.0) -> None:
    """Wait for something another thread does; fails when it does not come about."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.01)
