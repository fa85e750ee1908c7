"""Items that the till sells and ``menu.csv`` does not list, as things to do in the morning mail."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path

from unrung.alerts.wording import shown_serve
from unrung.errors import ConfigError
from unrung.ledger.results import DayLedger
from unrung.mail.actions import Action
from unrung.mail.causes import open_for
from unrung.mail.standing import Seen, Standing, is_due, moved_on
from unrung.menu_check import new_beer_lines, unlisted_rows
from unrung.menu_rows import NewRow, add_command, line_for
from unrung.new_beers import NewBeer, of_day
from unrung.settings import Settings
from unrung.store.open import Store
from unrung.units import UNIT_LABELS, to_ul

PLACE = "Back office"
MINUTES = 2


def items_told(
    db: Store, settings: Settings, day: date, now_ms: int, known: Mapping[str, Standing]
) -> tuple[list[Action], list[str], dict[str, Standing]]:
    """What to do about new items, what was told of them before, and what to keep for the next mail.

    An item is proposed when it is new, and again every week while it is not listed.
    """
    actions: list[Action] = []
    quiet: list[str] = []
    standing: dict[str, Standing] = {}
    for row, count in unlisted_rows(db, settings, {}, now_ms):
        seen = Seen(f"menu {row.item} {row.size}".rstrip(), day)
        before = known.get(seen.key)
        seen = seen._replace(began=before.since if before else day)
        told = is_due(before, seen, day, 1)
        standing[seen.key] = moved_on(before, seen, day, told=told)
        if told:
            actions.append(proposal(row, count, settings))
        else:
            quiet.append(f"{_name(row)!r} is not in menu.csv ({open_for(standing[seen.key], day, settings)})")
    return actions, quiet, standing


def beers_told(db: Store, settings: Settings, ledger: DayLedger) -> list[Action]:
    """What to do about taps that pour a beer of which the tables know nothing. It is told every day: until it
    is answered, the day's other causes rest on it."""
    return [_new_beer(beer, settings) for beer in of_day(db, settings, ledger)]


def _new_beer(beer: NewBeer, settings: Settings) -> Action:
    lines = new_beer_lines(beer, settings)
    return Action(
        f"Is {beer.name} on tap {beer.tap}?", PLACE, 5,
        f"See what runs there. If it is {beer.name}, the tables on the PC need these rows; if it is "
        f"{beer.product} under a new name, only those of menu.csv, with that product.",
        detail=f"The till sold it {beer.sales} times beside the tap's pours, and {beer.product}, which "
        "taps.csv says runs there, was hardly rung. Until the tables say so, its beer shows as not rung.",
        copy=tuple(f"{table}: {line}" for table, line in lines),
    )


def proposal(row: NewRow, count: int, settings: Settings) -> Action:
    """What to do about one item: a line to copy, whichever way the menu is kept."""
    folder = Path(settings.folder)
    how = "Nothing tells how much one takes"
    if row.portion:
        portion_ul = to_ul(Decimal(row.portion), row.unit or settings.venue.volume_unit)
        how = f"One takes {shown_serve(portion_ul, settings)}, {row.why}"
    command, line = add_command(row, folder.name), _line(row, settings) if row.portion else ""
    unit = UNIT_LABELS[settings.venue.volume_unit]
    amount = "" if row.portion else f": N, in {unit}"
    first = f"See how much of the beer one takes{amount}. Then, on the PC, "
    first += "this command:" if command else "this row in menu.csv:" if line else "add a row to menu.csv."
    lines = [text for text in (command, "or this row in menu.csv:" if command and line else "", line) if text]
    sold = "once" if count == 1 else f"{count} times"
    return Action(
        f"New on the till: {_name(row)}", PLACE, MINUTES, first,
        detail=f"Sold {sold} in four weeks; it looks like {row.product}. "
        f"{how}. Until it is listed, its beer shows as not rung.",
        copy=tuple(lines),
    )


def _line(row: NewRow, settings: Settings) -> str:
    try:
        text = (Path(settings.folder) / "menu.csv").read_text("utf-8-sig")
        return line_for(text, row, settings.venue.volume_unit)
    except (OSError, UnicodeDecodeError, ConfigError):
        return ""


def _name(row: NewRow) -> str:
    return f"{row.item} {row.size}".rstrip()
