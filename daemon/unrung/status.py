"""What ``unrung status`` says: per feed, per day, outbox and store; and whether a person is needed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from unrung.business_day import local_iso
from unrung.issuing import due_days
from unrung.settings import Settings
from unrung.store.days import day_rows
from unrung.store.open import Store
from unrung.store.overview import feed_overview, outbox_overview, store_overview, waiting_rejects


def collect(db: Store, settings: Settings, now_ms: int) -> dict[str, Any]:
    """The whole state as plain values, for people and for a monitor."""
    days = day_rows(db)
    issued = [row for row in days if row.revision]
    state: dict[str, Any] = {
        "venue": settings.venue.name,
        "feeds": {feed.name: feed_overview(db, feed.name) for feed in settings.feed},
        "rejects": waiting_rejects(db),
        "days": {
            "issued": len(issued),
            "last": issued[-1].day.isoformat() if issued else "",
            "last_status": issued[-1].status if issued else "",
            "due": [day.isoformat() for day in due_days(db, settings, now_ms)],
        },
        "outbox": outbox_overview(db),
        "store": store_overview(db, Path(settings.folder) / settings.files.store),
    }
    state["attention"] = _attention(state)
    for feed in state["feeds"].values():
        for key in ("last_received", "last_row"):
            at = feed.pop(f"{key}_ms")
            feed[key] = local_iso(at, settings.venue.timezone) if at is not None else ""
    return state


def lines(state: dict[str, Any]) -> list[str]:
    """The state in lines of at most 80 characters."""
    out = [state["venue"], ""]
    for name, feed in state["feeds"].items():
        out.append(f"{name:<12} {feed['exports']:>5} exports {feed['rows']:>8} rows   "
                   f"last row {feed['last_row'][:16].replace('T', ' ') or 'none'}")
        if feed["rejects_waiting"]:
            out.append(f"{'':<12} {feed['rejects_waiting']:>5} rows could not be read and wait")
        if feed["set_aside"]:
            out.append(f"{'':<12} {feed['set_aside']:>5} exports set aside, each with its reasons")
    out += ["", f"Days issued  {state['days']['issued']}, last {state['days']['last'] or 'none'}"]
    if state["days"]["due"]:
        out.append(f"Days due     {', '.join(state['days']['due'][:6])}")
    mails = ", ".join(f"{count} {what}" for what, count in state["outbox"]["states"].items())
    out.append(f"Mails        {mails or 'none'}")
    out.append(f"Store        {state['store']['bytes'] / 1e6:.1f} MB, SQLite {state['store']['sqlite']}")
    for reject in state["rejects"]:
        out += ["", f"{reject['file']}, line {reject['line']}, field {reject['field']!r}:",
                f"  {reject['value'][:40]!r} {reject['reason']}.", f"  {reject['fix']}"]
    if state["attention"]:
        out += ["", "A person is needed:"]
        out += [f"- {text}" for text in state["attention"]]
    return out


def _attention(state: dict[str, Any]) -> list[str]:
    found = []
    for name, feed in state["feeds"].items():
        if feed["rejects_waiting"]:
            found.append(f"{name}: {feed['rejects_waiting']} rows could not be read; see their reasons")
        if feed["set_aside"]:
            found.append(f"{name}: {feed['set_aside']} exports are set aside; see .reasons.csv")
        if not feed["exports"]:
            found.append(f"{name}: nothing has come in yet")
    refused = sum(state["outbox"]["states"].get(one, 0) for one in ("refused", "partly", "expired"))
    if refused:
        found.append(f"{refused} mails did not reach everybody: {state['outbox']['last_text']}")
    elif state["outbox"]["last_text"]:
        found.append(f"a mail waits: {state['outbox']['last_text']}")
    return found
