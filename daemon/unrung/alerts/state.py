"""What of the day's raised alerts is news: told once, again only when it doubles.

An alert's key names the rule and the place, not the day, so that a product which passes its limit
every day is told once and stays open. Two hours in one evening belong to that evening only.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Protocol

from unrung.alerts.measures import Measured
from unrung.settings import Alert

CLEAR_AT = Fraction(4, 5)
"""An open alert stays open down to this share of its limits, so that it does not flap."""
TELL_AGAIN_AT = 2
"""An open alert is told again at this multiple of the volume last told."""


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that stands open: what it last came to, and what was told of it."""

    volume_ul: int
    told_ul: int


class Standing(Protocol):
    """What the state needs of a raised alert."""

    @property
    def key(self) -> str: ...
    @property
    def volume_ul(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Next:
    """The state after a judgement, to be written in one transaction with the mails it causes."""

    open: dict[str, OpenAlert]
    tell: tuple[str, ...]
    """Keys to tell by themselves: new ones, and those that doubled since they were last told. A
    morning mail shows all that was raised, or it would say "nothing to do" on a lasting loss."""
    cleared: tuple[str, ...]
    """Keys that were open and no longer are; each is cleared once."""


def alert_key(alert: Alert, measured: Measured, day: date) -> str:
    """What makes two alerts the same one."""
    parts = [alert.name, measured.outlet, measured.product]
    if measured.start_ms is not None:
        parts.append(day.isoformat())
    return json.dumps(parts, ensure_ascii=False)


def next_state(previous: Mapping[str, OpenAlert], current: Sequence[Standing]) -> Next:
    """Open, tell and clear, from what stood open and what the newest day raised.

    Apply it to the newest judged day only: a day issued again changes no state. ``current`` must
    come from a judgement that knew ``previous`` (``History.open``), which is what lets an alert
    stay open between 0.8 of its limit and the limit. A day that was not judged changes nothing
    either: do not call this for it.
    """
    standing: dict[str, OpenAlert] = {}
    tell: list[str] = []
    for alert in current:
        told = previous[alert.key].told_ul if alert.key in previous else None
        if told is None or alert.volume_ul >= TELL_AGAIN_AT * told:
            tell.append(alert.key)
            told = alert.volume_ul
        standing[alert.key] = OpenAlert(alert.volume_ul, told)
    cleared = tuple(sorted(key for key in previous if key not in standing))
    return Next(standing, tuple(tell), cleared)
