"""The service speaks to systemd (sd_notify(3)): ready, alive, stopping."""

from __future__ import annotations

import os
import signal
import socket
from pathlib import Path

import pytest

from service.real import running
from venue_folder import make_venue


@pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no Unix sockets here")
def test_it_says_that_it_is_ready_alive_and_stopping(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(os.fspath(tmp_path / "notify"))
    listener.settimeout(30)
    monkeypatch.setenv("NOTIFY_SOCKET", os.fspath(tmp_path / "notify"))
    with running(make_venue(tmp_path / "bar").path) as service:
        heard = {listener.recv(100) for _ in range(2)}
        assert heard == {b"WATCHDOG=1", b"READY=1"}
        service.process.send_signal(signal.SIGTERM)
        while listener.recv(100) != b"STOPPING=1":
            pass
        assert service.process.wait(10) == 0
    listener.close()
