"""A feed written in another zone than the bar's: seen by rings and pours hours apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

from unrung.setup.clocks import USUAL
from unrung.setup.doubt import Doubt, Found

_QUARTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Shifted:
    """What an offset between rings and pours says."""

    zone: Found
    """The venue's zone."""
    utc_feed: str = ""
    """"rings" or "pours" where that side writes UTC without saying so."""


def explain_shift(
    quarters: int, zone: str, sure: bool, at_ms: Sequence[int], ring_says: bool, pour_says: bool
) -> Shifted | None:
    """Why rings lie ``quarters`` quarter hours after pours; None where no zone explains it.

    ``sure``: the zone was given or proven; ``ring_says``, ``pour_says``: that side writes offsets.
    """
    now = timedelta(milliseconds=sorted(at_ms)[len(at_ms) // 2])
    moment = datetime(1970, 1, 1, tzinfo=UTC) + now
    own = moment.astimezone(ZoneInfo(zone)).utcoffset() or timedelta()
    gap = quarters * _QUARTER
    if sure:
        if gap == own and not pour_says:
            return Shifted(Found(zone), "pours")
        return Shifted(Found(zone), "rings") if gap == -own and not ring_says else None
    if ring_says and pour_says:
        return None
    wanted = own - gap if ring_says else own + gap
    found = _zone_with(wanted, moment, zone)
    if found is None:
        return None
    return Shifted(found, "pours" if not ring_says and not pour_says else "")


def _zone_with(offset: timedelta, moment: datetime, machine: str) -> Found | None:
    tried = [machine, *USUAL, *sorted(available_timezones())]
    fitting = [name for name in dict.fromkeys(tried) if _offset(name, moment) == offset]
    if not fitting:
        return None
    hours = offset.total_seconds() / 3600
    why = f"only {hours:+g} hours from UTC bring the rings to their pours"
    usual = [name for name in fitting if name in USUAL] or fitting
    doubt = Doubt(
        "timezone", "In which time zone is the bar (an IANA name)?", tuple((name, "") for name in usual[:8]),
        usual[0], f"{why}; other zones have the same clock",
    )
    return Found(usual[0], why, doubt)


def _offset(name: str, moment: datetime) -> timedelta | None:
    try:
        return moment.astimezone(ZoneInfo(name)).utcoffset()
    except (OSError, ValueError):
        return None
