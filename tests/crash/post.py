"""A real mail server that tells when it is done with everybody, and what each recipient got."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from mail.servers import HOST, Desk, free_port

PATIENCE_SECONDS = 20.0


class Post(Desk):
    """Takes every mail, and knows its open sessions."""

    def __init__(self) -> None:
        super().__init__()
        self.port = 0
        self._open, self._news = 0, threading.Condition()

    def session(self, step: int) -> None:
        with self._news:
            self._open += step
            self._news.notify_all()

    def rest(self) -> None:
        """Wait until nobody is connected: what was sent by then is taken, or never will be."""
        with self._news:
            assert self._news.wait_for(lambda: not self._open, PATIENCE_SECONDS), "a session hangs"

    def copies(self) -> Counter[tuple[str, str]]:
        """How often each mail came to each recipient: (Message-ID, address)."""
        return Counter(
            (str(message_from_bytes(content)["Message-ID"]), address)
            for to, content in self.taken for address in to
        )


class _Session(SMTP):
    def connection_made(self, transport: Any) -> None:
        self.event_handler.session(1)
        super().connection_made(transport)

    def connection_lost(self, error: Exception | None) -> None:
        super().connection_lost(error)
        self.event_handler.session(-1)


class _Controller(Controller):
    def factory(self) -> SMTP:
        return _Session(self.handler, hostname="jug.example")


@contextmanager
def serving() -> Iterator[Post]:
    post = Post()
    controller = _Controller(post, hostname=HOST, port=free_port())
    controller.start()
    post.port = controller.port
    try:
        yield post
    finally:
        controller.stop()
