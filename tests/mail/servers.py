"""Real mail servers on the loopback address, made by aiosmtpd, with the faults of the field."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

HOST = "127.0.0.1"


class Desk:
    """Keeps what it takes; ``refuse`` maps a recipient to the server's answer."""

    def __init__(self, refuse: dict[str, str] | None = None, data: str = "250 taken") -> None:
        self.refuse, self.data = refuse or {}, data
        self.taken: list[tuple[list[str], bytes]] = []

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Any, address: str, options: Any
    ) -> str:
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.data.startswith("2") or self.data == "drop":
            self.taken.append((envelope.rcpt_tos, envelope.content))
        if self.data == "drop":
            server.transport.abort()
        return self.data


@contextmanager
def serving(desk: Desk, *, implicit: bool = False, tls: ssl.SSLContext | None = None,
            password: str = "") -> Iterator[int]:
    """The port of a running server: plain, STARTTLS (``tls``) or TLS from the first byte."""

    def check(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        return AuthResult(success=data.password == password.encode(), handled=False)

    options: dict[str, Any] = {"ssl_context": tls} if implicit else {"tls_context": tls}
    if tls and not implicit:
        options["require_starttls"] = True
    if password:
        options |= {"authenticator": check, "auth_required": True, "auth_require_tls": False}
    controller = Controller(desk, hostname=HOST, port=free_port(), **options)
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


@contextmanager
def silent() -> Iterator[int]:
    """A port that takes connections and never says a word."""
    with socket.socket() as listener:
        listener.bind((HOST, 0))
        listener.listen()
        yield listener.getsockname()[1]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def server_tls(ca: trustme.CA, name: str = HOST) -> ssl.SSLContext:
    """A server context with a certificate for ``name``."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    ca.issue_cert(name).configure_cert(context)
    return context
