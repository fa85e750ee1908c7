"""A store that no new start heals: told to people once a day, whoever starts the service how often."""

from __future__ import annotations

import logging
import os
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from unrung.config_folder import load
from unrung.errors import ConfigError, StoreLost
from unrung.heartbeat import alarm
from unrung.mail.stopped import send_stopped

TOLD = ".unrung.stopped"
"""Beside the store: the date on which it was told. The store itself cannot say so."""
_log = logging.getLogger("unrung.service")


def tell_lost(config: Path, error: StoreLost, now_ms: int) -> None:
    """Log it, tell the heartbeat's watchman, and mail it, at most once a UTC day. Does not raise."""
    _log.critical("the service cannot start: %s", error)
    with suppress(ConfigError):
        settings = load(config)
        if wrong := alarm(settings).wrong:
            _log.warning("heartbeat: %s", wrong)
        today = datetime.fromtimestamp(now_ms / 1000, UTC).date().isoformat()
        marker = Path(settings.folder) / TOLD
        with suppress(OSError):
            if marker.exists() and marker.read_text("utf-8") == today:
                return
        if send_stopped(settings, str(error), now_ms, os.environ):
            with suppress(OSError):
                marker.write_text(today, "utf-8")


def forget_lost(folder: Path) -> None:
    """The store can be used again."""
    with suppress(OSError):
        (folder / TOLD).unlink(missing_ok=True)
