"""What a mail says, made from a day's ledger. No clock, no network."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from unrung.alerts.rules import Raised, comparing_feed_missing
from unrung.alerts.wording import shown_name, shown_share, shown_volume, steps_with_unit
from unrung.ledger.results import DayLedger
from unrung.ledger.words import UNLISTED
from unrung.mail.actions import Action, actions_of, costs_minor, worst_first
from unrung.mail.figures import Row, rows, total, whole_day
from unrung.mail.render import Composed, render
from unrung.mail.usual import usual_sentence
from unrung.mail.view import (
    View,
    more_actions,
    shown_actions,
    shown_cost,
    shown_notes,
    shown_open,
    shown_sentences,
    shown_table,
)
from unrung.settings import Settings
from unrung.units import UNIT_LABELS
from unrung.venue_time import day_name, without_day

SUBJECT_LIMIT = 59
NOT_COMPARED_TOLD = Fraction(1, 20)
"""Above this share of the beer poured, beer not compared is told at the top."""


def morning_mail(
    ledger: DayLedger, raised: Sequence[Raised], settings: Settings, *,
    first_notices: Sequence[str] = (), actions: Sequence[Action] = (),
    still_open: Sequence[str] = (), before_ul: Sequence[int] = (), final: bool = False,
    items_told: bool = False,
) -> Composed:
    """The mail that a manager reads in a minute.

    ``actions`` are what the findings advise; with the raised alerts' own they stand worst cost first.
    ``first_notices`` are sentences to stand at the top, below missing feeds. With a ring or pour
    feed missing, ``raised`` is left out: such a day is not judged. ``still_open``: findings that an
    earlier mail told. ``before_ul``: beer without a ring on this weekday in earlier weeks,
    microlitres. ``final``: the day was mailed as provisional, and its data has come.
    ``items_told``: items that the menu lacks are among what is told, and need no note.
    """
    unjudged = comparing_feed_missing(ledger, settings)
    own = [] if unjudged else actions_of(raised, ledger, settings)
    todo = [*([_fetch(ledger)] if unjudged else []), *worst_first([*actions, *own])]
    table = rows(ledger, settings)
    whole = total(table)
    leads = [
        *ledger.urgent, *_missing(ledger, unjudged, whole), *first_notices,
        *_not_compared(ledger, settings),
    ]
    usual = "" if unjudged or whole.share is None else usual_sentence(
        before_ul, whole.not_rung, ledger.day, settings
    )
    view = View(
        venue=shown_name(settings.venue.name),
        heading=_heading(ledger, settings, unjudged, final),
        headline=_headline(whole, ledger, settings),
        usual=usual,
        leads=shown_sentences(leads),
        quiet="" if todo else f"{_nothing(still_open)}.",
        still_open=shown_open(still_open),
        actions=shown_actions(todo, settings),
        more=more_actions(todo),
        unit=UNIT_LABELS[settings.venue.volume_unit],
        table=shown_table(table, settings) if todo and whole.compared_ul else (),
        notes=shown_notes([
            *(fix.sentence for fix in ledger.fixes if fix.news),
            *(one for one in ledger.notices
              if one not in ledger.urgent and not (items_told and UNLISTED in one)),
        ]),
    )
    missing = [without_day(one, ledger.day, settings) for one in ledger.missing] if unjudged else []
    quiet = _nothing(still_open).lower()
    return render(_subject(view.heading, whole, todo, missing, quiet, settings), view)


def threshold_mail(
    ledger: DayLedger, raised: Sequence[Raised], settings: Settings, *,
    first_notices: Sequence[str] = (), until_ms: int | None = None,
) -> Composed:
    """The mail sent when a limit is passed before the morning: only what is news. ``until_ms``: up to when
    the day was judged.

    Its subject names no day, which the mail's own date does; so there is room for the place.
    """
    todo = actions_of(raised, ledger, settings, until_ms)
    heading = day_name(ledger.day, settings)
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


def stopped_mail(settings: Settings, reason: str) -> Composed:
    """The service could not start, and only a person can mend that."""
    venue = shown_name(settings.venue.name)
    view = View(
        venue=venue, heading="Unrung has stopped", headline="No figures until somebody sees to this PC.",
        leads=(reason,), quiet="For the person who installed it: nothing is lost that stands in the exports, "
        "the archive and the backups.",
    )
    return render(_fit("Unrung has stopped: ", venue, ""), view)


def clock_mail(settings: Settings, shown: str, doubt: str) -> Composed:
    """The PC's clock may be wrong. ``shown``: the day it shows; ``doubt``: why, and what to do."""
    venue = shown_name(settings.venue.name)
    view = View(
        venue=venue, heading="Is this PC's date right?", headline=f"Its clock says {shown}.",
        leads=(f"{doubt[0].upper()}{doubt[1:]}.",), quiet="For the person who looks after the PC: exports "
        "are taken in meanwhile, and nothing is lost.",
    )
    return render(_fit("Is the PC's date right? ", f"It says {shown}, {venue}", ""), view)


def _heading(ledger: DayLedger, settings: Settings, unjudged: bool, final: bool) -> str:
    """The day, and whether its figures may still change: "Fri, Oct 30, provisional"."""
    state = ", provisional" if unjudged else ", final" if final else ""
    return day_name(ledger.day, settings) + state


def _nothing(still_open: Sequence[str]) -> str:
    return "Nothing new to do" if still_open else "Nothing to do"


def _subject(
    heading: str, whole: Row, todo: Sequence[Action], missing: Sequence[str], quiet: str,
    settings: Settings,
) -> str:
    if missing:
        return _fit(f"{heading}: ", shown_name(missing[0], 120), "")
    if todo:
        return _titled(f"{heading}: ", todo)
    if whole.share is None:
        return _fit(f"{heading}: ", f"nothing compared, {quiet}", "")
    share = shown_share(whole.share, settings)
    return _fit(f"{heading}: ", f"{quiet}, {share} not rung", "")


def _titled(start: str, todo: Sequence[Action]) -> str:
    """The first thing to do and how many more there are; where that is too long, the count is shortened, then
    the amount is left out, and last a name is cut."""
    title, others = todo[0].title if todo else "no limit passed", len(todo) - 1
    words, _, amount = title.rpartition(": ")
    titles = [title, words] if words and amount[:1].isdigit() else [title]
    counts = [f" and {others} more", f" +{others}"] if others > 0 else [""]
    tried = [(one, more) for one in titles for more in counts]
    fitting = (one for one in tried if len(start + "".join(one)) <= SUBJECT_LIMIT)
    return _fit(start, *next(fitting, tried[-1]))


def _fit(start: str, middle: str, end: str) -> str:
    """A subject below 60 characters: the middle is cut, never the day or the count."""
    return shown_name(start + shown_name(middle, SUBJECT_LIMIT - len(start) - len(end)) + end)


def _headline(whole: Row, ledger: DayLedger, settings: Settings) -> str:
    if whole.share is None:
        sums = whole_day(ledger)
        beer, rung = (shown_volume(one, settings) for one in (sums.poured - sums.not_beer, sums.rung))
        return f"{beer} poured, {rung} rung; nothing was compared."
    poured, rung, lost = (
        steps_with_unit(one, settings) for one in (whole.poured, whole.rung, whole.not_rung)
    )
    start = f"{poured} poured, {rung} rung; "
    not_rung = f"{lost} ({shown_share(whole.share, settings)})"
    cost = costs_minor(ledger).get(("", ""))
    worth = f", {shown_cost(cost, settings)} at cost" if cost else ""
    return f"{start}{not_rung} poured without a ring{worth}."


def _missing(ledger: DayLedger, unjudged: bool, whole: Row) -> list[str]:
    """The mail's first line where a feed is missing."""
    if not ledger.missing:
        return []
    said = "; ".join(shown_name(one, 120) for one in ledger.missing)
    if not unjudged:
        return [f"{said[:1].upper()}{said[1:]}, so beer that was written down may show as not rung."]
    effect = "only part of the day is compared" if whole.compared_ul else "nothing is compared"
    return [f"Provisional: {said}, so {effect}. Once it is in, the day is issued again as final."]


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
        "on. Late data is taken in by itself.",
    )
