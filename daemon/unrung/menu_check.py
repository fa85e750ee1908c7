"""What ``unrung check`` says of items that the till sells and ``menu.csv`` does not list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from unrung.daybook import day_at
from unrung.errors import ConfigError
from unrung.menu_evidence import LOOK_BACK_MS, seen_portions
from unrung.menu_rows import Asked, NewRow, add_command, line_for, lookalikes, proposed
from unrung.records import Ring
from unrung.settings import Settings
from unrung.store.open import Store
from unrung.store.overview import items_since


def asked(ring: Ring) -> Asked:
    """What a ring asks of the menu."""
    return ring.item, ring.size, ring.price_level, ring.modifier


def unlisted_rows(
    db: Store | None, settings: Settings, waiting: Mapping[Asked, int], now_ms: int
) -> list[tuple[NewRow, int]]:
    """Rows for unlisted items that look like a listed product, and how often each was sold in four
    weeks. ``waiting``: lines that are not in the store yet."""
    sold = Counter(waiting)
    if db is not None:
        for feed in settings.feed:
            if feed.carries == "rings":
                sold.update(items_since(db, feed.name, now_ms - LOOK_BACK_MS))
    alike = lookalikes(settings, sold, day_at(settings, now_ms))
    seen = seen_portions(db, settings, alike, now_ms) if db is not None else {}
    return [
        (proposed(settings, item, size, product, seen.get((item, size))), count)
        for (item, size, product), count in alike.items()
    ]


def list_unlisted(
    db: Store | None, settings: Settings, waiting: Mapping[Asked, int], lines: list[str], config: Path,
    now_ms: int,
) -> None:
    """Say which rows ``menu.csv`` lacks, word for word."""
    rows = unlisted_rows(db, settings, waiting, now_ms)
    if not rows:
        return
    text = (config / "menu.csv").read_bytes().decode("utf-8-sig")
    lines.append("menu.csv does not list these items, which look like draught beer:")
    for row, count in rows:
        name = " ".join(filter(None, (row.item, row.size)))
        lines.append(f"  {name}, sold {count} time{'s' if count != 1 else ''}; {row.why}. The row to add:")
        try:
            lines.append(f"      {line_for(text, row, settings.venue.volume_unit)}")
        except ConfigError as error:
            lines += [f"    {problem}" for problem in error.problems]
    command = next(filter(None, (add_command(row, str(config)) for row, _ in rows)), "")
    lines.append(
        "  Add such a row in a spreadsheet, or by: "
        + (command or f"unrung add-item {config} ITEM --portion N") + "; with --not-draught where it is none."
    )
