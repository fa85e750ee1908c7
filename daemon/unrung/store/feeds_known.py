"""Since when the store knows each feed of ``venue.toml``."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date

from sqlite_utils import Database

from unrung.store.days import fact, set_fact
from unrung.store.open import Store, write_tx

FACT = "feeds"


def feeds_known(db: Database) -> dict[str, date | None]:
    """Feed to the business day on which it was added; None for those that the venue began with."""
    known = json.loads(fact(db, FACT) or "{}")
    return {name: date.fromisoformat(day) if day else None for name, day in known.items()}


def note_feeds(db: Store, names: Iterable[str], today: date) -> None:
    """Write down feeds that are new to the store. What was known stays, also of feeds that are gone: one
    that comes back is no new one."""
    known = json.loads(fact(db, FACT) or "{}")
    new = [name for name in names if name not in known]
    if new:
        since = today.isoformat() if known else ""
        with write_tx(db):
            set_fact(db, FACT, json.dumps(known | dict.fromkeys(new, since), ensure_ascii=False))
