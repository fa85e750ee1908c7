"""What ``unrung check`` says of items that the till sells and ``menu.csv`` does not list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from pathlib import Path

from unrung.daybook import day_at
from unrung.errors import ConfigError
from unrung.ledger.menu import Menu
from unrung.menu_evidence import seen_portions
from unrung.menu_rows import (
    Asked,
    NewRow,
    add_command,
    columns_of,
    line_for,
    lookalikes,
    proposed,
    written,
)
from unrung.new_beers import NewBeer, since
from unrung.opening import with_past
from unrung.records import AnyRecord, Ring
from unrung.rhythm import LOOK_BACK_MS
from unrung.settings import Settings
from unrung.shell_words import as_word
from unrung.store.open import Store
from unrung.unlisted import menu_at, menus_between, unlisted


def asked(ring: Ring) -> Asked:
    """What a ring asks of the menu."""
    return ring.item, ring.size, ring.price_level, ring.modifier


def rung_unlisted(records: Iterable[AnyRecord], settings: Settings) -> Counter[Asked]:
    """Lines of an export with items that the menu did not list when they were rung."""
    rings = [one for one in records if isinstance(one, Ring)]
    times = [ring.at_ms for ring in rings]
    menus = menus_between(settings, min(times, default=0), max(times, default=0))
    return Counter(
        asked(ring) for ring in rings if menu_at(menus, ring.at_ms).portions(*asked(ring)) is None
    )


def unlisted_rows(
    db: Store | None, settings: Settings, waiting: Mapping[Asked, int], now_ms: int
) -> list[tuple[NewRow, int]]:
    """Rows for unlisted items that look like a listed product, and how often each was sold in four
    weeks. ``waiting``: unlisted lines that are not in the store yet."""
    sold = Counter(waiting)
    if db is not None:
        for feed in settings.feed:
            if feed.carries == "rings":
                sold.update(unlisted(db, settings, feed.name, now_ms))
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
    if db is None:
        rows = unlisted_rows(db, settings, waiting, now_ms)
    else:
        past, menu = with_past(db, settings, now_ms), Menu(settings.menu, day_at(settings, now_ms))
        # What was listed until an edit is no news; nor is what the table lists from tomorrow on.
        rows = [one for one in unlisted_rows(db, past, waiting, now_ms)
                if menu.portions(one[0].item, one[0].size, "", "") is None]
        _list_beers(since(db, past, now_ms - LOOK_BACK_MS, now_ms), settings, lines)
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
    lines += [
        "  Add such a row in a spreadsheet, or by this command; with --not-draught where it is none:",
        f"      {command or f'unrung add-item {as_word(config)} ITEM --portion N'}",
    ]


def outlets_without_taps(records: Iterable[AnyRecord], settings: Settings) -> list[str]:
    """What is said of outlets at which an export rings draught beer and taps.csv has no tap."""
    known = {row.outlet.casefold() for row in settings.taps} | {""}
    rings = [one for one in records if isinstance(one, Ring) and one.outlet.casefold() not in known]
    menu = Menu(settings.menu, day_at(settings, max((one.at_ms for one in rings), default=0)))
    counts = Counter(one.outlet for one in rings if menu.portions(*asked(one)))
    return [
        f"  {count} sale{'s' if count != 1 else ''} of draught beer at {outlet!r}, where no tap stands: they "
        f"find no pour. taps.csv has {', '.join(sorted({row.outlet for row in settings.taps}))}."
        for outlet, count in sorted(counts.items())
    ]


def _list_beers(beers: Sequence[NewBeer], settings: Settings, lines: list[str]) -> None:
    for beer in beers:
        lines.append(
            f"Tap {beer.tap} seems to pour {beer.name} since {beer.since}, and not {beer.product}: "
            f"{beer.sales} sales go with its pours, and no table names it. If that is so, add these rows. If "
            f"it is {beer.product} under a new name, only those of menu.csv, with that product. If it is no "
            "draught beer, say so by add-item with --not-draught:"
        )
        lines += [f"      {table}: {line}" for table, line in new_beer_lines(beer, settings)]


def new_beer_lines(beer: NewBeer, settings: Settings) -> list[tuple[str, str]]:
    """(table, row) of all that the tables lack of a beer, in the tables' own columns."""
    folder = Path(settings.folder)
    ends = f"{beer.since - timedelta(days=1)}"
    found = [("products.csv", _line_of(folder, "products.csv", {"product": beer.name}))]
    dated = {"tap": beer.tap, "outlet": beer.outlet, "product": beer.name, "from": f"{beer.since}"}
    found.append(("taps.csv", _line_of(folder, "taps.csv", dated)))
    found.append(("taps.csv", f"(in its row of {beer.product}: to = {ends})"))
    unit = settings.venue.volume_unit
    for row in beer.rows:
        try:
            found.append(("menu.csv", line_for((folder / "menu.csv").read_text("utf-8-sig"), row, unit)))
        except (OSError, UnicodeDecodeError, ConfigError):
            found.append(("menu.csv", f"{row.item} {row.size}".rstrip()))
    return found


def _line_of(folder: Path, name: str, cells: Mapping[str, str]) -> str:
    """A row of a table in that file's columns; those that it lacks are named behind it."""
    header, delimiter = columns_of((folder / name).read_text("utf-8-sig").splitlines()[0])
    line = written(cells, header, delimiter)
    lacking = [f"{cell} = {text}" for cell, text in cells.items() if cell not in header]
    return line + (f"   (and in a column of its own: {', '.join(lacking)})" if lacking else "")
