"""Which verdicts on fixes the morning mails have told already: each is told once, whenever its line in
``fixes.csv`` was written, and again where it changes."""

from __future__ import annotations

import json
from dataclasses import replace

from unrung.ledger.results import DayLedger, FixNote
from unrung.store.days import fact, set_fact
from unrung.store.open import Store

TOLD = "fixes told by mail"


def with_fix_news(db: Store, ledger: DayLedger) -> DayLedger:
    """The ledger, its fixes marked that no mail of an earlier day told; inside the caller's transaction
    they are then known as told. A second mail of the same day tells the same."""
    known: dict[str, list[str]] = json.loads(fact(db, TOLD) or "{}")
    day = ledger.day.isoformat()
    told: dict[str, list[str]] = {}
    notes = []
    for fix in ledger.fixes:
        verdict, since = known.get(_key(fix), ["", ""])
        if fix.verdict != "too_early":
            told[_key(fix)] = [fix.verdict, since if verdict == fix.verdict else day]
        notes.append(replace(fix, news=told.get(_key(fix), ["", ""])[1] == day))
    set_fact(db, TOLD, json.dumps(told, ensure_ascii=False))
    return replace(ledger, fixes=tuple(notes))


def _key(fix: FixNote) -> str:
    return json.dumps([fix.day.isoformat(), fix.tap, fix.product, fix.what, fix.finding], ensure_ascii=False)
