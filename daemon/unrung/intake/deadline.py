"""A session of requests whose every read ends in time.

The read timeout of the usual libraries counts anew with each byte that comes in, so that a server
that trickles holds a thread for as long as it likes, also in its headers. Here every read of the
socket gets what is left until the deadline, if that is less.
"""

from __future__ import annotations

import io
import logging
import math
import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3 import HTTPConnectionPool, HTTPSConnectionPool, Retry
from urllib3.connection import HTTPConnection, HTTPSConnection

_UNTIL: ContextVar[float] = ContextVar("until", default=math.inf)


@contextmanager
def all_within(seconds: float) -> Iterator[None]:
    """Whatever this thread reads inside ends within ``seconds``, or raises TimeoutError."""
    token = _UNTIL.set(time.monotonic() + seconds)
    try:
        yield
    finally:
        _UNTIL.reset(token)


def seconds_left() -> float:
    """Time until the deadline in force; infinite where there is none, never negative."""
    return max(0.0, _UNTIL.get() - time.monotonic())


def new_session() -> requests.Session:
    """A session that keeps the deadline, never sleeps, never retries, and logs no address."""
    # The library warns of odd headers together with the full address, secret query and all.
    logging.getLogger("urllib3").setLevel(logging.ERROR)
    session = requests.Session()
    for scheme in ("http://", "https://"):
        session.mount(scheme, _Adapter(max_retries=_never()))
    return session


def _never() -> Retry:
    return Retry(total=0, read=False, respect_retry_after_header=False)


class _Reads(io.RawIOBase):
    """The reading end of a socket; each read waits no longer than the deadline allows."""

    def __init__(self, sock: Any, each: float | None) -> None:
        self._sock, self._each = sock, math.inf if each is None else each
        self._raw = sock.makefile("rb", buffering=0)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int | None:
        left = seconds_left()
        if left <= 0:
            raise TimeoutError("the whole answer took too long")
        wait = min(self._each, left)
        self._sock.settimeout(None if wait == math.inf else wait)
        count: int | None = self._raw.readinto(buffer)
        return count

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()


class _Socket:
    """A socket in all but its reading end."""

    def __init__(self, sock: Any) -> None:
        self._sock, self._each = sock, sock.gettimeout()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)

    def settimeout(self, seconds: float | None) -> None:
        self._each = seconds
        self._sock.settimeout(seconds)

    def makefile(self, *args: object, **options: object) -> io.BufferedReader:
        return io.BufferedReader(_Reads(self._sock, self._each))


class _Plain(HTTPConnection):
    def connect(self) -> None:
        super().connect()
        self.sock = _Socket(self.sock)


class _Secure(HTTPSConnection):
    def connect(self) -> None:
        super().connect()
        self.sock = _Socket(self.sock)


class _PlainPool(HTTPConnectionPool):
    ConnectionCls = _Plain


class _SecurePool(HTTPSConnectionPool):
    ConnectionCls = _Secure


_POOLS = {"http": _PlainPool, "https": _SecurePool}


class _Adapter(HTTPAdapter):
    def init_poolmanager(self, *args: Any, **options: Any) -> None:
        super().init_poolmanager(*args, **options)
        self.poolmanager.pool_classes_by_scheme = _POOLS

    def proxy_manager_for(self, *args: Any, **options: Any) -> Any:
        manager = super().proxy_manager_for(*args, **options)
        manager.pool_classes_by_scheme = _POOLS
        return manager
