"""The state as lines for a screen of 80 columns."""

from __future__ import annotations

import re
import textwrap
from datetime import date, datetime
from typing import Any

from unrung.by_locale import day_text, moment_text
from unrung.intake.archive import sentence
from unrung.records import Reject
from unrung.rhythm import counted

WIDTH = 80
_ISO = re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d.*)?")


def lines(state: dict[str, Any]) -> list[str]:
    """The state in lines of at most 80 characters."""
    state = {key: value if key == "rejects" else by_place(value, state["locale"])
             for key, value in state.items()}
    out = [*_wrapped(state["venue"]), "", *_entry("Service", _service(state["service"])), ""]
    for name, feed in state["feeds"].items():
        out += _feed(name, feed)
    out += ["", *_days(state["days"]), *_months(state["months"]), *_entry("Mails", _mails(state["outbox"]))]
    store = state["store"]
    out += _entry("Store", f"{store['bytes'] / 1e6:.1f} MB, {counted(store['movements'], 'row')}, "
                           f"SQLite {store['sqlite']}")
    out += _entry("Backup", state["upkeep"]["backup_made"] or "none")
    for number, text in enumerate(state["fixes"]):
        out += _entry("" if number else "Fixes", text)
    for reject in state["rejects"]:
        out += ["", *_reject(**reject)]
    if state["attention"]:
        out += ["", "A person is needed:"]
        for text in state["attention"]:
            out += _wrapped(text, "  ", "- ")
    return out


def _reject(file: str, line: int, field: str, value: str, reason: str, fix: str) -> list[str]:
    """Where a row that waits stands, and what is wrong. An export as a whole has neither line nor field."""
    place = [file, f"line {line}" if line else "", f"field {field!r}" if field else ""]
    told = sentence(Reject(line, field, value, reason, fix, {}))
    return [*_wrapped(f"{', '.join(filter(None, place))}:"), *_wrapped(told, "  ")]


def _service(service: dict[str, Any]) -> str:
    words = {
        "running": f"runs since {service['started']}, process {service['pid']}",
        "silent": f"not heard of since {service['seen']}, process {service['pid']}",
        "stopped": f"stopped, last heard of {service['seen']}",
        "ended": f"ended without a word, last heard of {service['seen']}",
        "other": f"another copy works here, process {service['pid']}",
        "never": "has never run here",
    }
    by_hand = f"; last catch-up {service['caught_up']}" if service["by_hand"] else ""
    return words[service["state"]] + by_hand


def _feed(name: str, feed: dict[str, Any]) -> list[str]:
    out = _entry(name, f"{counted(feed['exports'], 'export')}, {counted(feed['rows'], 'row')}, "
                       f"the last row {feed['last_row'] or 'none'}")
    if feed["last_export"]:
        out += _entry("", f"last export {feed['last_export']}, {feed['last_received']}")
    for text in (feed["silent"], feed["poll_failed"], *feed["news"]["to_know"]):
        out += _entry("", text)
    for key, noun, what in (
        ("rejects_waiting", "row", "could not be read and wait"),
        ("set_aside", "export", "set aside, each with its reasons"),
        ("unlisted_items", "item", "on the till that menu.csv does not list"),
        ("unlisted_rows", "row", "of these in 28 days"),
    ):
        if feed.get(key):
            out += _entry("", f"{counted(feed[key], noun)} {what}")
    return out


def _days(days: dict[str, Any]) -> list[str]:
    last = f", the last {days['last']} ({days['last_status']})" if days["last"] else ""
    out = _entry("Days issued", f"{days['issued']}{last}")
    if days["due"]:
        more = f" and {len(days['due']) - 5} more" if len(days["due"]) > 5 else ""
        out += _entry("Due now", "; ".join(days["due"][:5]) + more)
    coming = days["next"]
    if coming and coming["day"] not in days["due"]:
        waits = f"; waits for: {'; '.join(coming['waits_for'])}" if coming["waits_for"] else ""
        out += _entry("Next", f"{coming['day']}, due {coming['due']}, "
                              f"by {coming['latest']} in any case{waits}")
    return out


def _months(months: dict[str, Any]) -> list[str]:
    if not months["last"]:
        return []
    closed = f"; closed through {months['closed_through']}" if months["closed_through"] else "; none closed"
    text = f"the last {months['last']}, revision {months['last_revision']} ({months['last_status']}){closed}"
    return _entry("Months", text)


def _mails(outbox: dict[str, Any]) -> str:
    counts = ", ".join(f"{count} {what}" for what, count in outbox["states"].items())
    waits = outbox["waiting"][0] if outbox["waiting"] else None
    if waits and waits["last_text"]:
        counts += f"; next try {waits['next_try']}: {waits['last_text']}"
    return counts or "none"


def by_place(value: Any, locale: str) -> Any:
    """``value`` with every ISO day and moment in it as ``locale`` writes it.

    >>> by_place({"due": ["2026-10-30"], "seen": "2026-10-30T18:00:00-04:00"}, "en_US")
    {'due': ['Fri, Oct 30, 2026'], 'seen': 'Fri, Oct 30, 2026, 6:00 PM'}
    """
    match value:
        case dict():
            return {key: by_place(one, locale) for key, one in value.items()}
        case list() | tuple():
            return [by_place(one, locale) for one in value]
        case str() if found := _ISO.fullmatch(value):
            if found[1]:
                return moment_text(datetime.fromisoformat(value), locale, year=True)
            return day_text(date.fromisoformat(value), locale, year=True)
    return value


def _entry(name: str, text: str) -> list[str]:
    return _wrapped(text, " " * 14, f"{name:<13} ")


def _wrapped(text: str, indent: str = "", start: str | None = None) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent if start is None else start, subsequent_indent=indent,
        break_on_hyphens=False,
    )
