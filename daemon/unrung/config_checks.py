"""What the parts of a config folder say of each other: names that are known nowhere, rows that
contradict one another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import Any

from unrung.business_day import day_bounds
from unrung.config_tables import Made, Row
from unrung.config_words import nearest
from unrung.intake.adapter import check_mapping
from unrung.mapping import Constant
from unrung.poll_settings import is_web_address, poll_problems
from unrung.settings import Feed, MenuRow, Product, Settings, TapRow

_FOREVER_MS = 1 << 52


def unknown_products(rows: Mapping[str, Sequence[Row]]) -> list[str]:
    """Rows that name a product which is not in products.csv."""
    products = {cells.get("product", "") for _, cells in rows["products.csv"]}
    return [
        f"{name}, line {line}: product {cells['product']!r} is not in products.csv"
        f"{nearest(cells['product'], products)}"
        for name in ("menu.csv", "taps.csv", "fixes.csv") for line, cells in rows[name]
        if cells.get("product") and cells["product"] not in products
    ]


def unknown_taps(rows: Mapping[str, Sequence[Row]]) -> list[str]:
    """Fixes at a tap or meter that is not in taps.csv."""
    known = {cells.get(name, "") for _, cells in rows["taps.csv"] for name in ("tap", "meter")} - {""}
    alike = {name.casefold() for name in known}
    return [
        f"fixes.csv, line {line}: tap {cells['tap']!r} is not in taps.csv{nearest(cells['tap'], known)}"
        for line, cells in rows["fixes.csv"]
        if cells.get("tap") and cells["tap"].casefold() not in alike
    ]


def contradictions(tables: Mapping[str, Sequence[Made]], settings: Settings) -> list[str]:
    """Rows for one thing whose dates overlap and that say different things of it."""
    found = []
    for table, rows in tables.items():
        by_key: dict[tuple[str, ...], list[Made]] = {}
        for made in rows:
            by_key.setdefault(_key(made[1]), []).append(made)
        for alike in by_key.values():
            for (line, one), (other_line, other) in combinations(alike, 2):
                if one != other and _overlap(one, other, settings):
                    found.append(
                        f"{table}.csv, line {line} and line {other_line}: two rows for {_shown(one)} "
                        "hold at the same time; take one out, or give them dates that do not overlap."
                    )
    return found


def venue_problems(settings: Settings, rows: Mapping[str, Sequence[Row]]) -> list[str]:
    """What is wrong with pools, feeds and alerts."""
    outlets = {cells.get("outlet", "") for _, cells in rows["taps.csv"]} - {""}
    names = [feed.name for feed in settings.feed]
    found = [
        f"venue.toml: pool {pool.name!r} names outlet {outlet!r}, where no tap stands"
        f"{nearest(outlet, outlets)}"
        for pool in settings.pool for outlet in pool.outlets if outlet not in outlets
    ]
    found += [f"venue.toml: two feeds are called {name!r}."
              for name in dict.fromkeys(names) if names.count(name) > 1]
    for feed in settings.feed:
        found += [f"venue.toml: {text}" for text in _feed_problems(feed, settings, outlets)]
    return found + _shared_files(settings) + _alert_problems(settings) + _schedule_problems(settings)


def _shared_files(settings: Settings) -> list[str]:
    """Feeds of one folder and pattern: the first would take every file away from the second."""
    return [
        f"venue.toml: feeds {one.name!r} and {other.name!r} watch the same files; give them patterns "
        "that differ, or set leave = true for both."
        for one, other in combinations(settings.feed, 2)
        if one.folder and (one.folder, one.pattern) == (other.folder, other.pattern)
        and not (one.leave and other.leave)
    ]


def _feed_problems(feed: Feed, settings: Settings, outlets: Iterable[str]) -> list[str]:
    found = check_mapping(feed, settings)
    if bool(feed.folder) == bool(feed.url):
        found.append(f"feed {feed.name!r} needs either folder or url.")
    outlet = feed.fields.get("outlet")
    if feed.carries == "rings" and isinstance(outlet, Constant) and outlet.const not in outlets:
        found.append(f"feed {feed.name!r}: fields.outlet is {outlet.const!r}, where no tap stands"
                     f"{nearest(outlet.const, outlets)}")
    if feed.url:
        found += [f"feed {feed.name!r}: {text}" for text in poll_problems(
            feed.url, feed.poll, maps_id="id" in feed.fields, export=feed.export,
            packed=feed.formats.compression != "none")]
    return found


def _alert_problems(settings: Settings) -> list[str]:
    """Rules that every drop passes, or that are taken for one another; and a rule on two hours needs windows
    of at most two hours to add up."""
    names = [alert.name for alert in settings.alert]
    found = [f"venue.toml: two alerts are called {name!r}; what one has told, the other would not tell."
             for name in dict.fromkeys(names) if names.count(name) > 1]
    found += [
        f"venue.toml: alert {alert.name!r} has no limit, so that any drop raises it; set min_pct, "
        "min_volume, min_serves or times_median." for alert in settings.alert
        if all(limit is None for limit in (alert.min_pct, alert.min_volume, alert.min_serves,
                                           alert.times_median))
    ]
    if settings.files.window_minutes > 120 and any(one.per == "two_hours" for one in settings.alert):
        found.append(
            f"venue.toml: [files] window_minutes = {settings.files.window_minutes} is longer than the two "
            "hours that an alert is judged on; set at most 120, or take the two_hours alert out."
        )
    return found


def _schedule_problems(settings: Settings) -> list[str]:
    schedule, found = settings.schedule, []
    if schedule.issue_at > schedule.latest_at:
        found.append(
            f"venue.toml: [schedule] issue_at = {schedule.issue_at.isoformat('minutes')} is later than "
            f"latest_at = {schedule.latest_at.isoformat('minutes')}, by which a day is issued in any case; "
            "set latest_at later."
        )
    if schedule.heartbeat_url and not is_web_address(schedule.heartbeat_url):
        found.append("venue.toml: [schedule] heartbeat_url is no web address; write one that begins with "
                     "https:// or http://.")
    return found


def _key(row: Any) -> tuple[str, ...]:
    match row:
        case Product():
            parts: tuple[str, ...] = (row.product, str(row.valid_from))
        case MenuRow():
            parts = (row.item, row.size, row.price_level, row.modifier, row.product)
        case TapRow():
            parts = (row.tap,)
    return tuple(part.casefold() for part in parts)


def _shown(row: Any) -> str:
    match row:
        case TapRow():
            return f"tap {row.tap!r}"
        case MenuRow():
            size = f" {row.size}" if row.size else ""
            return f"{row.item + size!r}"
        case _:
            return f"product {row.product!r}"


def _overlap(one: Any, other: Any, settings: Settings) -> bool:
    (lo, hi), (other_lo, other_hi) = _span(one, settings), _span(other, settings)
    return max(lo, other_lo) < min(hi, other_hi)


def _span(row: Any, settings: Settings) -> tuple[int, int]:
    """When a row holds, in UTC milliseconds."""
    venue = settings.venue
    lo, hi = 0, _FOREVER_MS
    if row.valid_from:
        lo = day_bounds(row.valid_from, venue.timezone, venue.day_starts)[0]
    if getattr(row, "valid_to", None):
        hi = day_bounds(row.valid_to, venue.timezone, venue.day_starts)[1]
    from_ms, to_ms = getattr(row, "from_ms", None), getattr(row, "to_ms", None)
    return from_ms if from_ms is not None else lo, to_ms if to_ms is not None else hi
