"""What the service's workers share: the settings in force, the clocks, and what is wrong now."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from unrung.clock_doubt import clock_doubt
from unrung.clock_trust import FAR_MS, clock_trouble
from unrung.config_tables import OPTIONAL, TABLES
from unrung.service.clock import REAL, Clock
from unrung.settings import Settings
from unrung.store.open import Store, open_store

_log = logging.getLogger("unrung.service")

Stamp = tuple[tuple[int, int], ...]


@dataclass(slots=True)
class Venue:
    """One per service. A worker writes what is its own; reading is free."""

    config: Path
    settings: Settings
    clock: Clock = REAL
    stamp: Stamp = ()
    """The config folder's files as they were when ``settings`` was read."""
    problems: dict[str, str] = field(default_factory=dict)
    """Source of trouble to a sentence; what is over is taken out."""
    fresh: threading.Event = field(default_factory=threading.Event)
    """Rows came in since today was last judged."""
    _telling: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def store(self) -> Iterator[Store]:
        """A connection for one step: a store that was away for a while is simply opened again."""
        db = open_store(Path(self.settings.folder) / self.settings.files.store)
        try:
            yield db
        finally:
            db.close()

    def clock_is_wrong(self, db: Store, now_ms: int) -> bool:
        """Whether what depends on the date has to wait; told while it does. ``now_ms``: the moment that
        is then worked with; read again afterwards, the clock may have fallen back between the two."""
        wrong = clock_trouble(db, self.settings, now_ms)
        said = wrong or clock_doubt(db, self.settings, now_ms)
        with self._telling:
            # A step that began before the clock jumped would take back what a later one has told.
            if abs(self.clock.wall_ms() - now_ms) < FAR_MS:
                self.note("clock", said)
        return bool(wrong)

    def note(self, key: str, text: str) -> None:
        """Keep what is wrong, or that nothing is any more; log it when it changes."""
        before = self.problems.get(key, "")
        if text:
            self.problems[key] = text
        else:
            self.problems.pop(key, None)
        if text and text != before:
            _log.warning("%s: %s", key, text)
        elif before and not text:
            _log.info("%s: over", key)


def stamp_of(config: Path) -> Stamp:
    """Time and size of every file of the config folder; equal while nobody edits them."""
    return tuple(_stat(config / name) for name in ("venue.toml", *TABLES, *OPTIONAL))


def _stat(path: Path) -> tuple[int, int]:
    try:
        status = path.stat()
    except OSError:
        return (0, -1)
    return (status.st_mtime_ns, status.st_size)
