"""The mail that cannot wait: a ring that fits what flowed while its line was being cleaned."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.alerts.wording import shown_name, shown_volume
from unrung.ledger.results import DayLedger, ServedWhileCleaned
from unrung.mail.actions import CLEANER, Action
from unrung.mail.render import Composed, render
from unrung.mail.view import View, more_actions, shown_actions
from unrung.settings import Settings
from unrung.venue_time import clock, day_name

FIRST_CHECK = (
    "Ask at the bar now whether a glass was handed out. If one may have been drunk from, do what the "
    "cleaner's label says and get medical advice at once. Close the tap until its rinse is proved. If it "
    "was beer after all, see whether the entry on the sheet names the right tap and times."
)


def safety_mail(
    ledger: DayLedger, served: Sequence[ServedWhileCleaned], settings: Settings
) -> Composed:
    """One action for each such ring, the newest first. It carries no limit and waits for none."""
    newest = sorted(served, key=lambda one: -one.poured_ms)
    todo = [_action(one, settings) for one in newest]
    view = View(
        venue=shown_name(settings.venue.name), heading=day_name(ledger.day, settings),
        headline="Ask at once: a glass may have been filled from a line that was being cleaned.",
        actions=shown_actions(todo, settings), more=more_actions(todo),
    )
    return render(shown_name(f"Ask now: glass from a line being cleaned, {newest[0].product}", 59), view)


def _action(one: ServedWhileCleaned, settings: Settings) -> Action:
    product, at = shown_name(one.product, 30), clock(one.poured_ms, settings)
    rung, volume = clock(one.rung_ms, settings), shown_volume(one.volume_ul, settings)
    return Action(
        f"{product} poured at {at} during its line's cleaning, and rung",
        f"{shown_name(one.outlet, 40)}, tap {shown_name(one.tap, 12)}", 5, FIRST_CHECK, CLEANER,
        detail=f"A ring at {rung} fits the {volume} that flowed then, and no other pour.",
    )
