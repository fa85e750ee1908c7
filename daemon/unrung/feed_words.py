"""What changed about the feeds, in words for the manager and for whoever mends it: mail, status, check."""

from __future__ import annotations

import json
from typing import NamedTuple
from urllib.parse import urlsplit

from unrung.by_locale import full_stop
from unrung.intake.archive import printable
from unrung.intake.scan import folder_of
from unrung.intake.watch import passed_over
from unrung.rhythm import LOOK_BACK_MS, counted, silence, span
from unrung.settings import Feed, Settings
from unrung.store.days import fact
from unrung.store.open import Store
from unrung.store.overview import arrivals
from unrung.store.sources import SourceRow, last_come, set_aside_ones
from unrung.venue_time import moment

NEWS_MS = 36 * 3_600_000
"""A new column is told for so long; it needs nobody."""
CLOCKS_APART_MS = 120_000
"""A server's clock and this machine's may differ by so much before anybody is told."""
COLUMNS = "columns"
_NAMES_SHOWN = 3


class FeedNews(NamedTuple):
    """One feed's."""

    needs_somebody: tuple[str, ...]
    to_know: tuple[str, ...] = ()


def feed_news(db: Store, settings: Settings, feed: Feed, now_ms: int) -> FeedNews:
    """Exports set aside, silence, new columns."""
    aside = set_aside_ones(db, feed.name)
    held = held_words(feed, aside, settings) if aside else []
    return FeedNews(
        tuple(held or _silence_words(db, settings, feed, now_ms)),
        tuple(_column_words(db, settings, feed, now_ms)),
    )


def all_news(db: Store, settings: Settings, now_ms: int) -> list[str]:
    """Of every feed, for the top of the morning mail."""
    news = [feed_news(db, settings, feed, now_ms) for feed in settings.feed]
    return [text for one in news for text in (*one.needs_somebody, *one.to_know)]


def held_words(feed: Feed, aside: list[SourceRow], settings: Settings) -> list[str]:
    """Since when, which file, what was seen, and what to do; two sentences, the second for who mends it."""
    first = min(aside, key=lambda source: source.received_ms)
    count = f"{counted(len(aside), 'export')} of {feed.name!r}"
    return [
        f"{count} could not be taken in since {moment(first.received_ms, settings)}, the first is "
        f"{first.name}. Nothing is lost, and nothing of it is compared until that is mended.",
        f"For whoever looks after the program, feed {feed.name!r}: {first.reason}",
    ]


def _silence_words(db: Store, settings: Settings, feed: Feed, now_ms: int) -> list[str]:
    last = last_come(db, feed.name)
    quiet = silence(arrivals(db, feed.name, (last[1] if last else now_ms) - LOOK_BACK_MS), now_ms)
    if last is None or quiet is None or not quiet.too_long:
        return []
    where = "its address still answers" if feed.url else f"its files still reach {folder_of(feed, settings)}"
    return [
        f"{feed.name!r} is {quiet}: the last that came is {last[0]}, on "
        f"{full_stop(moment(last[1], settings))} See that its export still runs and {where}.",
        *passed_over_words(feed, settings),
    ]


def clock_words(feed: Feed, said_ms: int | None, now_ms: int) -> str:
    """Where the clock of a polled feed's server and this machine's differ; empty where they do not, or where
    it says no time. ``said_ms``: its time, UTC milliseconds."""
    apart = 0 if said_ms is None else said_ms - now_ms
    if abs(apart) <= CLOCKS_APART_MS:
        return ""
    side = "ahead of" if apart > 0 else "behind"
    return (f"{feed.name}: the clock of {urlsplit(feed.url).hostname} is {span(abs(apart))} {side} this "
            "machine's; have both set over the network.")


def passed_over_words(feed: Feed, settings: Settings) -> list[str]:
    """Files that lie in a feed's folder and bear no export's name; none of a polled feed."""
    if feed.url:
        return []
    folder = folder_of(feed, settings)
    patterns = [one.pattern for one in settings.feed if not one.url and folder_of(one, settings) == folder]
    names = passed_over(folder, patterns)
    if not names:
        return []
    shown = ", ".join(map(printable, names[:_NAMES_SHOWN])) + (", ..." if len(names) > _NAMES_SHOWN else "")
    lie, do = ("lies", "its name does") if len(names) == 1 else ("lie", "their names do")
    return [
        f"{counted(len(names), 'file')} {lie} in {folder} and cannot come in, since {do} not go with "
        f"{feed.pattern!r}: {shown}. If such a file is an export, set pattern of feed {feed.name!r} in "
        "venue.toml so that it goes with the names of all, or take the file away."
    ]


def _column_words(db: Store, settings: Settings, feed: Feed, now_ms: int) -> list[str]:
    known = json.loads(fact(db, f"{COLUMNS} {feed.name}") or "{}")
    if not known.get("new") or now_ms - known["since_ms"] > NEWS_MS:
        return []
    names = ", ".join(map(repr, known["new"]))
    return [
        f"The exports of {feed.name!r} have something new since {known['file']}: {names}. Nothing has to be "
        "done unless it changes what a row means, such as a mark for voids."
    ]
