"""Opens a venue: its config folder and its store, brought together."""

from __future__ import annotations

from pathlib import Path

from sqlite_utils import Database

from unrung.config_folder import load
from unrung.settings import Settings
from unrung.store.open import open_store


def open_venue(config: Path, now_ms: int) -> tuple[Settings, Database]:
    """Settings and store of a config folder. Raises ConfigError or StoreError."""
    settings = load(config)
    db = open_store(Path(settings.folder) / settings.files.store)
    return settings, db
