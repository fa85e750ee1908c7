"""What ``unrung status`` knows: service, feeds, days, outbox and store; and what a person must do.

Everything here is read only. How it is put on a screen stands in ``status_text``.
"""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from unrung.business_day import local_iso
from unrung.by_locale import day_text, moment_text
from unrung.clock_doubt import clock_doubt, seen_ms
from unrung.clock_trust import clock_trouble
from unrung.daybook import bounds_of, day_at, day_inputs
from unrung.feed_words import feed_news
from unrung.issuing import due_days, issue_time_ms
from unrung.ledger.menu import resembles
from unrung.rhythm import HOUR_MS, LOOK_BACK_MS, counted, silence
from unrung.settings import Feed, Settings
from unrung.store.days import day_rows, fact, fixes_told, unplaced
from unrung.store.months import month_rows
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store
from unrung.store.overview import (
    arrivals,
    feed_overview,
    outbox_overview,
    poll_state,
    store_overview,
    waiting_rejects,
)
from unrung.unlisted import unlisted
from unrung.upkeep import upkeep_state

SILENT_MS = 3 * 60_000
"""A service that left no sign of life for this long does not run, or hangs."""
LATE_MS = HOUR_MS
"""Nothing that is late by less than this needs a person."""


class Holder(NamedTuple):
    """Whether some process holds the config folder, and its id where known."""

    held: bool
    pid: int | None = None


def collect(db: Store, settings: Settings, now_ms: int, holder: Holder) -> dict[str, Any]:
    """The whole state as plain values, for people and for a monitor."""
    state: dict[str, Any] = {
        "venue": settings.venue.name,
        "locale": settings.venue.locale,
        "clock": clock_trouble(db, settings, now_ms) or clock_doubt(db, settings, now_ms),
        "service": _service(db, settings, now_ms, holder),
        "feeds": {feed.name: _feed(db, settings, feed, now_ms) for feed in settings.feed},
        "rejects": waiting_rejects(db),
        "days": _days(db, settings, seen_ms(db, settings, now_ms)),
        "months": _months(db),
        "fixes": fixes_told(db)["fixes"],
        "outbox": _outbox(db, settings, now_ms),
        "store": store_overview(db, Path(settings.folder) / settings.files.store),
        "upkeep": _upkeep(db, settings),
    }
    return {**state, "attention": attention(state)}


def _service(db: Store, settings: Settings, now_ms: int, holder: Holder) -> dict[str, Any]:
    """``state``: running, silent (holds its lock and says nothing), stopped, ended (without saying
    so), other (another copy works here), never."""
    said = json.loads(fact(db, "service") or "{}")
    caught_up = json.loads(fact(db, "catch_up") or "{}").get("ended_ms")
    seen = said.get("seen_ms")
    mine = holder.held and holder.pid in (said.get("pid"), None)
    if seen is None or (holder.held and not mine):
        name = "other" if holder.held else "never"
    elif mine:
        name = "running" if now_ms - seen < SILENT_MS else "silent"
    else:
        name = "stopped" if said.get("stopped") else "ended"
    return {
        "state": name,
        "pid": holder.pid if holder.held else None,
        "version": said.get("version", ""),
        "started": _local(said.get("started_ms"), settings),
        "seen": _local(seen, settings),
        "caught_up": _local(caught_up, settings),
        "by_hand": caught_up is not None and caught_up > (seen or 0),
        "problems": said.get("problems", {}) if mine else {},
    }


def _feed(db: Store, settings: Settings, feed: Feed, now_ms: int) -> dict[str, Any]:
    found = feed_overview(db, feed.name)
    last = found["last_received_ms"]
    quiet = silence(arrivals(db, feed.name, (last or now_ms) - LOOK_BACK_MS), now_ms)
    for key in ("last_received", "last_row"):
        found[key] = _local(found.pop(f"{key}_ms"), settings)
    found["silent"] = str(quiet) if quiet and quiet.too_long else ""
    found["news"] = feed_news(db, settings, feed, now_ms)._asdict()
    found["poll_failed"] = poll_state(db, feed.name).get("last_text", "") if feed.url else ""
    return {**found, **(_unlisted(db, settings, feed, now_ms) if feed.carries == "rings" else {})}


def _unlisted(db: Store, settings: Settings, feed: Feed, now_ms: int) -> dict[str, Any]:
    """Items of the last four weeks that the menu does not list: how many, how many rows, and which bear the
    name of a listed product."""
    rows = unlisted(db, settings, feed.name, now_ms)
    products = [row.product for row in settings.products]
    alike = {item: resembles(item, products) for item in sorted({asked[0] for asked in rows})}
    return {
        "unlisted_items": len(alike), "unlisted_rows": sum(rows.values()),
        "unlisted_draught": {item: product for item, product in alike.items() if product},
    }


def _days(db: Store, settings: Settings, now_ms: int) -> dict[str, Any]:
    rows = day_rows(db)
    issued = {row.day: row for row in rows if row.revision}
    last = max(issued, default=None)
    return {
        "issued": len(issued),
        "last": last.isoformat() if last else "",
        "last_status": issued[last].status if last else "",
        "due": [day.isoformat() for day in due_days(db, settings, now_ms)],
        "overdue": [day.isoformat() for day in _overdue(db, settings, now_ms, set(issued))],
        "next": _next(db, settings, now_ms, set(issued)),
        "unplaced": unplaced(db),
    }


def _months(db: Store) -> dict[str, Any]:
    """The last issued period and how it stands, and up to which one the books are closed."""
    issued = [row for row in month_rows(db) if row.revision]
    closed = [row.period.name for row in issued if row.closed_ms is not None]
    last = issued[-1] if issued else None
    return {
        "last": last.period.name if last else "", "last_status": last.status if last else "",
        "last_revision": last.revision if last else 0, "closed_through": closed[-1] if closed else "",
    }


def _overdue(db: Store, settings: Settings, now_ms: int, issued: set[date]) -> list[date]:
    """Days that should have been issued, complete or not, and were not."""
    late = [day for day in due_days(db, settings, now_ms) if day not in issued]
    return [
        day for day in late
        if now_ms > issue_time_ms(settings, day, settings.schedule.latest_at) + LATE_MS
    ]


def _next(db: Store, settings: Settings, now_ms: int, issued: set[date]) -> dict[str, Any]:
    """The first day that will be issued later on: when, and what it waits for."""
    span = first_and_last_ms(db)
    if span is None:
        return {}
    day = max(day_at(settings, span[0]), day_at(settings, now_ms) - timedelta(days=2))
    while day in issued or issue_time_ms(settings, day, settings.schedule.latest_at) <= now_ms:
        day += timedelta(days=1)
    times = {
        key: issue_time_ms(settings, day, at) for key, at in
        (("due", settings.schedule.issue_at), ("latest", settings.schedule.latest_at))
    }
    over = bounds_of(settings, day)[1] <= now_ms
    waits = day_inputs(db, settings, day).missing if over else []
    return {"day": day.isoformat(), "waits_for": waits,
            **{key: _local(at, settings) for key, at in times.items()}}


def _upkeep(db: Store, settings: Settings) -> dict[str, Any]:
    """The newest backup, and what went wrong with the last night's upkeep."""
    state = upkeep_state(db)
    return {"backup": state.get("backup", ""), "backup_made": _local(state.get("backup_ms"), settings),
            "problems": state.get("problems", [])}


def _outbox(db: Store, settings: Settings, now_ms: int) -> dict[str, Any]:
    """Only those who get mail by the present settings count; earlier addresses are history."""
    found = outbox_overview(db)
    found["last"] = {who: one for who, one in found["last"].items() if who in settings.mail.to}
    for one in found["last"].values():
        one["written"] = _local(one.pop("created_ms"), settings)
    for one in found["waiting"]:
        one["late"] = now_ms - one["created_ms"] > LATE_MS
        one["written"] = _local(one.pop("created_ms"), settings)
        one["next_try"] = _local(one.pop("next_try_ms"), settings)
    return found


def attention(state: dict[str, Any]) -> list[str]:
    """What a person must see to, as sentences; empty where nothing."""
    service, days, locale = state["service"], state["days"], state["locale"]
    found = [state["clock"]] if state["clock"] else []
    found += _of_service(service, locale)
    told_below = {f"feed {name}": feed["poll_failed"] for name, feed in state["feeds"].items()}
    found += [f"{key}: {text}" for key, text in service["problems"].items()
              if key not in ("files", "clock") and text != told_below.get(key)]
    for name, feed in state["feeds"].items():
        found += [f"{name}: {text}" for text in _of_feed(feed)]
    if days["overdue"]:
        first = day_text(date.fromisoformat(days["overdue"][0]), locale)
        found.append(f"{counted(len(days['overdue']), 'day')} overdue and not issued, the first is {first}")
    unplaced = days["unplaced"].items()
    found += [f"{day_text(date.fromisoformat(day), locale)}: {text}" for day, text in unplaced]
    found += [f"the night's upkeep: {text}" for text in state["upkeep"]["problems"]]
    for who, mail in state["outbox"]["last"].items():
        if mail["state"] != "sent":
            what = "could not be sent in time" if mail["state"] == "expired" else f"was {mail['state']}"
            found.append(f"the last mail to {who} {what}: {mail['last_text']}")
    for text in dict.fromkeys(one["last_text"] for one in state["outbox"]["waiting"] if one["late"]):
        found.append(f"mail waits for over an hour: {text or 'it was not tried yet'}")
    return found


def _of_service(service: dict[str, Any], locale: str) -> list[str]:
    seen = moment_text(datetime.fromisoformat(service["seen"]), locale, year=True) if service["seen"] else ""
    if service["state"] == "silent":
        return [f"the service (process {service['pid']}) has not been heard of since "
                f"{seen}; stop it and start it again"]
    if service["state"] in ("stopped", "ended") and not service["by_hand"]:
        return [f"the service does not run; it was last heard of at {seen}"]
    return []


def _of_feed(feed: dict[str, Any]) -> list[str]:
    found = [] if feed["exports"] else ["nothing has come in yet"]
    if feed["rejects_waiting"]:
        found.append(f"{counted(feed['rejects_waiting'], 'row')} could not be read; see the reasons")
    found += feed["news"]["needs_somebody"]
    if feed["poll_failed"]:
        found.append(feed["poll_failed"])
    if feed.get("unlisted_draught"):
        items = ", ".join(feed["unlisted_draught"])
        found.append(f"the till sells what looks like draught and is not in menu.csv: {items}")
    return found


def _local(at_ms: int | None, settings: Settings) -> str:
    return "" if at_ms is None else local_iso(at_ms, settings.venue.timezone)
