"""The service's log: one file, rotated, opened by the service alone; and lines on the console."""

from __future__ import annotations

import logging
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path

FORMAT = "%(asctime)s %(levelname)s %(name)s: %(message)s"
NAME = "unrung.log"
MAX_BYTES, KEPT = 2_000_000, 5


def start_log(folder: Path) -> None:
    """Log to ``folder/unrung.log`` and to standard error."""
    root = logging.getLogger()
    root.setLevel(logging.INFO)
    file = RotatingFileHandler(
        folder / NAME, maxBytes=MAX_BYTES, backupCount=KEPT, encoding="utf-8", delay=True
    )
    for handler in (file, logging.StreamHandler(sys.stderr)):
        handler.setFormatter(logging.Formatter(FORMAT))
        root.addHandler(handler)
    for noisy in ("apscheduler", "watchdog", "urllib3"):
        logging.getLogger(noisy).setLevel(logging.WARNING)
    # On Windows a rotation can meet a held file; the record is dropped and the service goes on.
    logging.raiseExceptions = False
