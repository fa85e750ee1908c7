"""Days as a mail sees them, all invented."""

from __future__ import annotations

from alerts.days import leaf_at, ledger_of, lone_pour, venue_settings
from unrung.alerts.rules import History, judge_day
from unrung.ledger.results import DayLedger
from unrung.mail.compose import morning_mail
from unrung.mail.render import Composed
from unrung.settings import Settings

LEARNT = History(days_of_data=30, venue_shares=(0.01,) * 28)


def busy_day(product: str = "Stout", outlet: str = "Main Bar") -> DayLedger:
    """84 fl oz of one product without a ring, and three products in order."""
    leaves = [
        leaf_at(20, product, outlet, matched_portion=1402.3, over_portion=28, under_portion=14,
                poured_not_rung=84.4, logged=12.4, rung_not_poured=8),
        leaf_at(20, "Pale Ale", outlet, matched_portion=1811.7, poured_not_rung=22.3),
        leaf_at(20, "Märzen", "Garden", matched_portion=604.2, poured_not_rung=12, not_beer=40),
        leaf_at(20, "Pilsner", "Garden", matched_portion=990.1, logged=20.5),
    ]
    return ledger_of(*leaves, low=50, high=110, cost=180.0, lone=(lone_pour(20.5),))


def quiet_day() -> DayLedger:
    return ledger_of(leaf_at(20, matched_portion=1400, poured_not_rung=8.4), low=0)


def till_missing() -> DayLedger:
    return ledger_of(
        leaf_at(20, poured_not_compared=1500),
        missing=("no sales from 'till' for Fri, Oct 30",), status="incomplete",
    )


def mail_of(ledger: DayLedger, settings: Settings | None = None, **parts: object) -> Composed:
    """The morning mail of a judged day."""
    settings = settings or venue_settings()
    raised = judge_day(ledger, settings, LEARNT)
    return morning_mail(ledger, raised, settings, **parts)  # type: ignore[arg-type]
