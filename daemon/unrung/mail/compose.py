"""What a mail says, made from a day's ledger. No clock, no network."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from unrung.alerts.rules import Raised, comparing_feed_missing
from unrung.alerts.wording import shown_name, shown_share, shown_volume, with_unit
from unrung.ledger.results import DayLedger
from unrung.mail.actions import Action, actions_of, costs_minor
from unrung.mail.figures import Row, rows, total, whole_day
from unrung.mail.render import Composed, render
from unrung.mail.view import (
    View,
    more_actions,
    shown_actions,
    shown_cost,
    shown_day,
    shown_notes,
    shown_sentences,
    shown_table,
)
from unrung.settings import Settings
from unrung.units import UNIT_LABELS

SUBJECT_LIMIT = 59
NOT_COMPARED_TOLD = Fraction(1, 20)
"""Above this share of the beer poured, beer not compared is told at the top."""


def morning_mail(
    ledger: DayLedger, raised: Sequence[Raised], settings: Settings, *,
    first_notices: Sequence[str] = (), actions: Sequence[Action] = (),
) -> Composed:
    """The mail that a manager reads in a minute.

    ``actions`` are what the findings advise, worst first; the raised alerts' own come after them.
    ``first_notices`` are sentences to stand at the top, below missing feeds. With a ring or pour
    feed missing, ``raised`` is left out: such a day is not judged.
    """
    unjudged = comparing_feed_missing(ledger, settings)
    own = [] if unjudged else actions_of(raised, ledger, settings)
    todo = [*([_fetch(ledger)] if unjudged else []), *actions, *own]
    table = rows(ledger, settings)
    whole = total(table)
    leads = [
        *_missing(ledger, unjudged, whole), *first_notices, *_not_compared(ledger, settings)
    ]
    view = View(
        venue=shown_name(settings.venue.name),
        heading=shown_day(ledger.day, settings),
        headline=_headline(whole, ledger, settings),
        leads=shown_sentences(leads),
        quiet="" if todo else "Nothing to do.",
        actions=shown_actions(todo, settings),
        more=more_actions(todo),
        unit=UNIT_LABELS[settings.venue.volume_unit],
        table=shown_table(table, settings) if todo and whole.compared_ul else (),
        notes=shown_notes(ledger.notices),
    )
    missing = ledger.missing if unjudged else ()
    return render(_subject(view.heading, whole, todo, missing, settings), view)


def threshold_mail(
    ledger: DayLedger, raised: Sequence[Raised], settings: Settings, *,
    first_notices: Sequence[str] = (),
) -> Composed:
    """The mail sent when a limit is passed before the morning: only what is news.

    Its subject names no day, which the mail's own date does; so there is room for the place.
    """
    todo = actions_of(raised, ledger, settings)
    heading = shown_day(ledger.day, settings)
    view = View(
        venue=shown_name(settings.venue.name),
        heading=heading,
        headline="A limit was passed. The day is not closed: late rings may still explain it.",
        leads=shown_sentences(first_notices),
        actions=shown_actions(todo, settings),
        more=more_actions(todo),
    )
    return render(_titled("", todo), view)


def trial_mail(settings: Settings) -> Composed:
    """What ``mail-test`` sends."""
    venue = shown_name(settings.venue.name)
    view = View(
        venue=venue, heading="Test mail",
        headline="Mail from Unrung reaches you. The daily mail will come from this address.",
        quiet="Nothing to do.",
    )
    return render(_fit("Unrung test mail: ", venue, ""), view)


def _subject(
    heading: str, whole: Row, todo: Sequence[Action], missing: Sequence[str], settings: Settings
) -> str:
    if missing:
        how = "partly compared" if whole.compared_ul else "not compared"
        return _fit(f"{heading}: {how}, ", _bare(missing[0]), "")
    if todo:
        return _titled(f"{heading}: ", todo)
    if whole.share is None:
        return _fit(f"{heading}: ", "nothing compared, nothing to do", "")
    share = shown_share(whole.share, settings)
    return _fit(f"{heading}: ", f"nothing to do, {share} not rung", "")


def _titled(start: str, todo: Sequence[Action]) -> str:
    more = f" and {len(todo) - 1} more" if len(todo) > 1 else ""
    return _fit(start, todo[0].title if todo else "no limit passed", more)


def _fit(start: str, middle: str, end: str) -> str:
    """A subject below 60 characters: the middle is cut, never the day or the count."""
    return shown_name(start + shown_name(middle, SUBJECT_LIMIT - len(start) - len(end)) + end)


def _headline(whole: Row, ledger: DayLedger, settings: Settings) -> str:
    if whole.share is None:
        sums = whole_day(ledger)
        beer, rung = (shown_volume(one, settings) for one in (sums.poured - sums.not_beer, sums.rung))
        return f"{beer} poured, {rung} rung; nothing was compared."
    start = f"{with_unit(whole.poured, settings)} poured, {with_unit(whole.rung, settings)} rung; "
    not_rung = f"{with_unit(whole.not_rung, settings)} ({shown_share(whole.share, settings)})"
    cost = costs_minor(ledger).get(("", ""))
    worth = f", {shown_cost(cost, settings)} at cost" if cost else ""
    return f"{start}{not_rung} poured without a ring{worth}."


def _missing(ledger: DayLedger, unjudged: bool, whole: Row) -> list[str]:
    """The mail's first line where a feed is missing."""
    if not ledger.missing:
        return []
    effect = "beer that was written down may show as not rung"
    if unjudged:
        effect = "only part of the day is compared" if whole.compared_ul else "nothing is compared"
    said = "; ".join(_bare(one) for one in ledger.missing)
    return [f"{said[:1].upper()}{said[1:]}, so {effect}."]


def _not_compared(ledger: DayLedger, settings: Settings) -> list[str]:
    sums = whole_day(ledger)
    beer = sums.poured - sums.not_beer
    if sums.poured_not_compared in (0, beer) or beer <= 0:
        return []  # nothing to say, or said by the missing feed and the headline
    if Fraction(sums.poured_not_compared, beer) <= NOT_COMPARED_TOLD:
        return []
    share = shown_share(Fraction(sums.poured_not_compared, beer), settings)
    volume = shown_volume(sums.poured_not_compared, settings)
    return [f"{share} of the beer poured ({volume}) could not be compared; it counts as no loss."]


def _fetch(ledger: DayLedger) -> Action:
    return Action(
        "Get the missing data in", "Back office", 5,
        "See that the export was written and reached its folder, and that till and meter box are "
        "on. Late data is taken in by itself, and this day is issued again.",
    )


def _bare(sentence: str) -> str:
    return shown_name(sentence, 120).rstrip(".")
