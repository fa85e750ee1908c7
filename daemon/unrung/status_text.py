"""The state as lines for a screen of 80 columns."""

from __future__ import annotations

import textwrap
from typing import Any

from unrung.rhythm import counted

WIDTH = 80


def lines(state: dict[str, Any]) -> list[str]:
    """The state in lines of at most 80 characters."""
    out = [*_wrapped(state["venue"]), "", *_entry("Service", _service(state["service"])), ""]
    for name, feed in state["feeds"].items():
        out += _feed(name, feed)
    out += ["", *_days(state["days"]), *_months(state["months"]), *_entry("Mails", _mails(state["outbox"]))]
    store = state["store"]
    out += _entry("Store", f"{store['bytes'] / 1e6:.1f} MB, {counted(store['movements'], 'row')}, "
                           f"SQLite {store['sqlite']}")
    out += _entry("Backup", _short(state["upkeep"]["backup_made"]))
    for number, text in enumerate(state["fixes"]):
        out += _entry("" if number else "Fixes", text)
    for reject in state["rejects"]:
        out += ["", *_wrapped(f"{reject['file']}, line {reject['line']}, field {reject['field']!r}:"),
                *_wrapped(f"{reject['value'][:40]!r} {reject['reason']}.", "  "),
                *_wrapped(reject["fix"], "  ")]
    if state["attention"]:
        out += ["", "A person is needed:"]
        for text in state["attention"]:
            out += _wrapped(text, "  ", "- ")
    return out


def _service(service: dict[str, Any]) -> str:
    words = {
        "running": f"runs since {_short(service['started'])}, process {service['pid']}",
        "silent": f"not heard of since {_short(service['seen'])}, process {service['pid']}",
        "stopped": f"stopped, last heard of {_short(service['seen'])}",
        "ended": f"ended without a word, last heard of {_short(service['seen'])}",
        "other": f"another copy works here, process {service['pid']}",
        "never": "has never run here",
    }
    by_hand = f"; last catch-up {_short(service['caught_up'])}" if service["by_hand"] else ""
    return words[service["state"]] + by_hand


def _feed(name: str, feed: dict[str, Any]) -> list[str]:
    out = _entry(name, f"{counted(feed['exports'], 'export')}, {counted(feed['rows'], 'row')}, "
                       f"the last row {_short(feed['last_row'])}")
    if feed["last_export"]:
        out += _entry("", f"last export {feed['last_export']}, {_short(feed['last_received'])}")
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
        out += _entry("Due now", ", ".join(days["due"][:5]) + more)
    coming = days["next"]
    if coming and coming["day"] not in days["due"]:
        waits = f"; waits for: {'; '.join(coming['waits_for'])}" if coming["waits_for"] else ""
        out += _entry("Next", f"{coming['day']}, due {_short(coming['due'])}, "
                              f"by {_short(coming['latest'])} in any case{waits}")
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
        counts += f"; next try {_short(waits['next_try'])}: {waits['last_text']}"
    return counts or "none"


def _short(moment: str) -> str:
    """"2026-10-30T06:00:00-04:00" as "2026-10-30 06:00"."""
    return moment[:16].replace("T", " ") or "none"


def _entry(name: str, text: str) -> list[str]:
    return _wrapped(text, " " * 14, f"{name:<13} ")


def _wrapped(text: str, indent: str = "", start: str | None = None) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent if start is None else start, subsequent_indent=indent,
        break_on_hyphens=False,
    )
