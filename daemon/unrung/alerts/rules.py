"""Which of the venue's ``[[alert]]`` limits a day passed.

Only beer that could be compared is judged, and only where even the low end of the plausible range
is above nothing. A day with a ring or pour feed missing is not judged at all: a silent till looks
just like beer that nobody rang.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from statistics import median

from unrung.alerts import measures
from unrung.alerts.measures import Day, Measured
from unrung.alerts.state import CLEAR_AT, OpenAlert, alert_key
from unrung.alerts.wording import sentence
from unrung.by_locale import full_stop
from unrung.ledger.results import DayLedger
from unrung.settings import Alert, Settings
from unrung.units import to_ul

MEDIAN_DAYS = 28
MIN_MEDIAN_DAYS = 7
"""Fewer past days than this make no usual level (our own choice)."""

MEASURES: dict[str, Callable[[Day], Iterator[Measured]]] = {
    "product_day": measures.product_days,
    "venue_day": measures.venue_day,
    "two_hours": measures.two_hours,
    "logged_share": measures.logged_share,
}


@dataclass(frozen=True, slots=True)
class History:
    """What earlier days tell the rules."""

    days_of_data: int = 0
    """Business days since the venue's first data, both ends counted: 1 on the first day."""
    venue_shares: tuple[float, ...] = ()
    """Poured-not-rung over compared beer, 0 to 1, of each of the last 28 venue-days, oldest
    first, the judged day not among them."""
    open: Mapping[str, OpenAlert] = field(default_factory=dict)
    """Alerts that stand open, by key: they clear only below 0.8 of their limit."""
    odd: str = ""
    """What about the day's exports forbids a judgement, as a sentence; empty where nothing does."""


@dataclass(frozen=True, slots=True)
class Raised:
    """One rule that a day passed. ``share`` is of compared beer, 0 to 1."""

    rule: str
    outlet: str
    product: str
    window_start_ms: int | None
    volume_ul: int
    share: float
    key: str
    sentence: str
    low_ul: int = 0
    high_ul: int = 0
    serves: int = 0
    """Full-size serves without a ring."""


def not_judged(ledger: DayLedger, settings: Settings, history: History) -> str:
    """Why nothing of this day is judged, as a sentence; empty where it is judged."""
    if comparing_feed_missing(ledger, settings):
        return "Losses are not judged for this day: " + "; ".join(ledger.missing) + "."
    if history.odd:
        return f"Losses are not judged for this day: {history.odd}"
    waits = [alert.hold_days for alert in settings.alert]
    if waits and history.days_of_data <= min(waits):
        return (
            f"Losses are not judged yet: this is day {history.days_of_data} of data, and the "
            f"first {min(waits)} are for learning what is usual here."
        )
    return ""


def judge_day(ledger: DayLedger, settings: Settings, history: History) -> list[Raised]:
    """Every limit that the day passed, in the order of the rules, largest volume first."""
    if not_judged(ledger, settings, history):
        return []
    day = Day(ledger, settings)
    raised: list[Raised] = []
    for alert in settings.alert:
        if history.days_of_data > alert.hold_days:
            raised += _judge(alert, day, settings, history)
    return raised


def _judge(alert: Alert, day: Day, settings: Settings, history: History) -> list[Raised]:
    usual = _usual(history.venue_shares)
    worst: dict[str, Measured] = {}
    for measured in MEASURES[alert.per](day):
        key = alert_key(alert, measured, day.ledger.day)
        ease = CLEAR_AT if key in history.open else Fraction(1)
        passed = _passes(alert, measured, settings, usual, ease)
        if passed and (key not in worst or measured.volume_ul > worst[key].volume_ul):
            worst[key] = measured
    ordered = sorted(worst.items(), key=lambda item: (-item[1].volume_ul, item[0]))
    return [_raised(alert, key, found, day, settings, usual) for key, found in ordered]


def _passes(
    alert: Alert, measured: Measured, settings: Settings, usual: Fraction | None, ease: Fraction
) -> bool:
    """Whether all set limits, times ``ease``, are passed. A limit set is a limit met by equality,
    save for the logged share, which must be above its limit."""
    share = measured.share
    if share is None or measured.volume_ul <= 0 or measured.low_ul <= 0:
        return False
    unit = settings.venue.volume_unit
    percent, strictly = share * 100, alert.per == "logged_share"
    checks = [
        alert.min_pct is None or _over(percent, Fraction(alert.min_pct) * ease, strictly),
        alert.min_volume is None
        or measured.volume_ul >= to_ul(alert.min_volume, unit) * ease,
        alert.min_serves is None or measured.serves >= alert.min_serves * ease,
        alert.times_median is None or _over_usual(share, usual, alert.times_median, ease),
    ]
    return all(checks)


def _over(value: Fraction, limit: Fraction, strictly: bool) -> bool:
    return value > limit if strictly else value >= limit


def _over_usual(
    share: Fraction, usual: Fraction | None, times: Decimal, ease: Fraction
) -> bool:
    return usual is not None and share >= Fraction(times) * usual * ease


def _usual(shares: Sequence[float]) -> Fraction | None:
    # Through its text, so that a share kept as 0.01 is one hundredth, not the nearest double.
    recent = [Fraction(str(share)) for share in shares[-MEDIAN_DAYS:]]
    return median(recent) if len(recent) >= MIN_MEDIAN_DAYS else None


def _raised(
    alert: Alert, key: str, found: Measured, day: Day, settings: Settings,
    usual: Fraction | None,
) -> Raised:
    said = sentence(alert.per, found, settings, usual)
    if alert.per != "logged_share" and day.ledger.missing:
        said += f" Part of it may have its reason there: {full_stop('; '.join(day.ledger.missing))}"
    return Raised(
        alert.name, found.outlet, found.product, found.start_ms, found.volume_ul,
        float(found.share or 0), key, said, found.low_ul, found.high_ul, found.serves,
    )


def comparing_feed_missing(ledger: DayLedger, settings: Settings) -> bool:
    """A missing sentence that names no feed we know could be any feed, so it counts too."""
    others = [feed.name for feed in settings.feed if feed.carries in ("kegs", "log")]
    return any(
        not any(f"'{name}'" in sentence for name in others) for sentence in ledger.missing
    )
