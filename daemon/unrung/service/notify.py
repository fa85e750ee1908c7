"""Signs of life to systemd (sd_notify(3)); does nothing where nobody listens."""

from __future__ import annotations

import os
import socket
from contextlib import suppress


def notify(state: str) -> bool:
    """Send ``READY=1``, ``WATCHDOG=1`` or ``STOPPING=1``; False where there is no listener."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
        sender.sendto(state.encode(), address)
        return True
    return False
