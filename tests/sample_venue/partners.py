"""Who belongs to whom: every pour's line or label, as the generator wrote them down."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from sample_venue.bar import Serve, Week
from sample_venue.ledger import day_of, explanations, line_content


def partners(week: Week) -> dict[str, str]:
    """Every metered pour's line, or its label."""
    found: dict[str, list[str]] = defaultdict(list)
    for serve in week.serves:
        for pour, _ in serve.shares:
            found[pour.id].append(_partner(serve))
    for pour in week.pours:
        if pour.tap.metered and pour.label != "beer":
            found[pour.id].append(pour.label)
    return {pour: " ".join(words) for pour, words in sorted(found.items())}


def _partner(serve: Serve) -> str:
    lines = "+".join(line.id for line in serve.lines)
    label = {"rung": "", "voided": "voided:", "log": "logged:"}.get(serve.fate, serve.fate)
    if serve.fate == "log":
        return label + serve.note
    if serve.fate == "lone" and serve.note:
        return f"lone:{serve.note}"
    return label + lines


def lone_rings(week: Week) -> dict[str, str]:
    return {
        serve.lines[0].id: serve.note or serve.fate
        for serve in week.serves if serve.fate in ("no_pour", "unmetered")
    }


def log_rows(week: Week) -> Iterator[dict[str, object]]:
    explained = explanations(week)
    for entry in week.log:
        product = entry.product or entry.item
        done = sum(explained.get(pour, 0) for pour in entry.pours)
        if entry.reason == "Line clean":
            done = sum(beer for _, beer in line_content(entry))
        yield {
            "day": str(day_of(entry.written)), "outlet": entry.outlet, "product": product,
            "reason": entry.reason, "timed": entry.at is not None, "said_ul": entry.said_ul,
            "explained_ul": done, "pours": [pour.id for pour in entry.pours],
        }


def cases(week: Week) -> dict[str, list[str]]:
    """Where each special thing is to be found, by the ids of its pours or lines."""
    found: dict[str, list[str]] = defaultdict(list)
    for serve in week.serves:
        name = serve.note or ("" if serve.fate in ("rung", "unmetered") else serve.fate)
        if name:
            ids = [pour.id for pour, _ in serve.shares] or [line.id for line in serve.lines]
            found[name] += [one for one in ids if one not in found[name]]
    for line in week.lines:
        if line.status:
            found[line.status.lower()].append(line.id)
        if line.takes_back:
            found["negative void"].append(line.id)
    for pour in week.pours:
        if pour.label != "beer":
            found[pour.label].append(pour.id)
    return dict(sorted(found.items()))
