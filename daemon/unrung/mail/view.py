"""What the templates are given: everything as text, cleaned, in the order it is read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from babel.numbers import format_currency

from unrung.alerts.wording import shown_name, shown_share, shown_steps
from unrung.by_locale import locale_of
from unrung.mail.actions import Action
from unrung.mail.figures import Row, shortened, total
from unrung.settings import Settings

MAX_ACTIONS = 3
MAX_NOTES = 5
CLOSING = (
    "A variance is not evidence against a person. Meters, settings, foam, cleaning and keg changes "
    "cause it too."
)


@dataclass(frozen=True, slots=True)
class ShownAction:
    """An action as printed."""

    title: str
    meta: str
    detail: str
    first_check: str
    caution: str
    copy: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A table row as printed. ``bar`` is the length of its bar in percent, 0 to 100."""

    name: str
    place: str
    cells: tuple[str, str, str, str, str]
    bar: int


@dataclass(frozen=True, slots=True)
class View:
    """One mail. ``leads`` stand first; ``quiet`` is what a day without actions says; ``still_open`` is what
    earlier mails told."""

    venue: str
    heading: str
    headline: str
    usual: str = ""
    leads: tuple[str, ...] = ()
    quiet: str = ""
    still_open: str = ""
    actions: tuple[ShownAction, ...] = ()
    more: str = ""
    unit: str = ""
    table: tuple[ShownRow, ...] = ()
    notes: tuple[str, ...] = ()
    closing: str = CLOSING


def shown_actions(actions: Sequence[Action], settings: Settings) -> tuple[ShownAction, ...]:
    """The first three."""
    return tuple(_shown_action(one, settings) for one in actions[:MAX_ACTIONS])


def more_actions(actions: Sequence[Action]) -> str:
    """Where the rest of the actions can be read."""
    count = len(actions) - MAX_ACTIONS
    return f"{count} more in the day's findings file." if count > 0 else ""


def shown_open(told: Sequence[str]) -> str:
    """What earlier mails told and is open still, the first three by name."""
    if not told:
        return ""
    more = f"; and {len(told) - MAX_ACTIONS} more" if len(told) > MAX_ACTIONS else ""
    named = "; ".join(shown_name(one, 120) for one in told[:MAX_ACTIONS])
    return f"Told before and still open, back here once a week: {named}{more}."


def shown_table(table: Sequence[Row], settings: Settings) -> tuple[ShownRow, ...]:
    """The rows and their total; the outlet is named only where there are several."""
    short = shortened(table)
    outlets = len({row.outlet for row in table}) > 1
    longest = max((row.not_rung_ul for row in short), default=0) or 1
    made = [
        _shown_row(row, outlets, round(100 * row.not_rung_ul / longest), settings) for row in short
    ]
    return (*made, _shown_row(total(short), False, 0, settings))


def shown_notes(notices: Iterable[str]) -> tuple[str, ...]:
    """The ledger's notices, at most five lines."""
    notes = shown_sentences(notices)
    if len(notes) <= MAX_NOTES:
        return notes
    return (*notes[: MAX_NOTES - 1], f"... and {len(notes) - MAX_NOTES + 1} more.")


def shown_sentences(sentences: Iterable[str]) -> tuple[str, ...]:
    """Each on one line, empty ones left out."""
    return tuple(shown_name(one, 300) for one in sentences if one.strip())


def shown_cost(minor: int, settings: Settings) -> str:
    """Whole units of the currency: what lost beer cost is never known to the cent."""
    locale = locale_of(settings.venue.locale)
    pattern = re.sub(r"\.0+", "", locale.currency_formats["standard"].pattern)
    amount = Decimal(minor).scaleb(-settings.currency_digits)
    shown = format_currency(
        max(Decimal(1), amount.quantize(Decimal(1))), settings.venue.currency, pattern,
        locale=locale, currency_digits=False,
    )
    return f"under {shown}" if amount < 1 else f"about {shown}"


def _shown_action(one: Action, settings: Settings) -> ShownAction:
    cost = f"{shown_cost(one.cost_minor, settings)} at cost" if one.cost_minor else ""
    meta = [shown_name(one.place), f"{one.minutes} min", cost, one.since]
    return ShownAction(
        shown_name(one.title, 120), " · ".join(part for part in meta if part),
        shown_name(one.detail, 400), shown_name(one.first_check, 600),
        shown_name(one.caution, 300), tuple(shown_name(line, 300) for line in one.copy),
    )


def _shown_row(row: Row, outlets: bool, bar: int, settings: Settings) -> ShownRow:
    share = "" if row.share is None else shown_share(row.share, settings)
    place = shown_name(row.outlet, 40) if outlets else ""
    poured, rung, other, not_rung = (
        shown_steps(cell, settings) for cell in (row.poured, row.rung, row.other, row.not_rung)
    )
    return ShownRow(
        shown_name(row.product, 40), place, (poured, rung, other, not_rung, share), bar
    )
