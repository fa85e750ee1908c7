"""Whether an issued day stands though a day beside it changed: where nothing reaches across the edge, and all
else that it was made of is the same, it would come out the same."""

from __future__ import annotations

import hashlib
import json
from datetime import date, timedelta

from unrung.covering import covers_of
from unrung.daybook import (
    Cache,
    bounds_of,
    cleaning_over_the_edge,
    edge_is_sealed,
    kept_outline,
    made_with,
    material_of,
)
from unrung.findings.fix_cases import first_needed
from unrung.ledger.material import match_settings
from unrung.ledger.outline import Outline, from_text, outline_of, seen_by
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.days import day_row, unplaced
from unrung.store.facts import facts_digest
from unrung.store.open import Store
from unrung.store.outlines import outline_row, save_outline


def around(db: Store, settings: Settings, day: date) -> str:
    """A digest of what a day is made of beside its own movements and its neighbours': the facts of earlier
    days, what the feeds cover, and cleanings that began the day before."""
    first, last = first_needed(day, settings), day - timedelta(days=1)
    told = [
        facts_digest(db, first, last), covers_of(db, settings, bounds_of(settings, day)),
        cleaning_over_the_edge(db, settings, day),
    ]
    return hashlib.sha256(json.dumps(told, ensure_ascii=False).encode()).hexdigest()


def keep_outline(
    db: Store, settings: Settings, ledger: DayLedger, own_changes: int, seen_around: str
) -> None:
    """Keep a computed day in outline; within a write transaction. ``own_changes`` and ``seen_around``: as
    they were before it was computed."""
    save_outline(
        db, ledger.day, own_changes, made_with=made_with(settings), outline=ledger.outline, seen=ledger.seen,
        around=seen_around,
    )


def stands(db: Store, settings: Settings, day: date, cache: Cache) -> bool:
    """Whether an issued day would be the same if it were computed again."""
    row, kept = day_row(db, day), outline_row(db, day)
    if row is None or kept is None or not row.revision or not kept.seen or not kept.current:
        return False
    if kept.made_with != made_with(settings) or day.isoformat() in unplaced(db):
        return False
    before, after = day - timedelta(days=1), day + timedelta(days=1)
    if edge_is_sealed(db, day) or kept.around != around(db, settings, day):
        return False
    one, two = (_outline(db, settings, beside, cache) for beside in (before, after))
    return seen_by(one, from_text(kept.outline), two, match_settings(settings.matching)) == kept.seen


def _outline(db: Store, settings: Settings, day: date, cache: Cache) -> Outline:
    """As it is kept, else from its movements, which are then made ready for those who come next."""
    if day not in cache:
        kept = kept_outline(db, settings, day)
        if kept is not None:
            return kept
        cache[day] = material_of(db, settings, day)
    return outline_of(cache[day])
