"""Times as a source wants them in a query."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


def asked_time(at_ms: int, form: str, zone: str, *, latest: bool = False) -> str:
    """``at_ms`` (UTC milliseconds) in ``form``: "iso", "epoch_s", "epoch_ms" or a strftime pattern
    of local time in ``zone``.

    Fractions of a second go to the side that asks for more: down, for the ``latest`` time up. A local
    time that the clocks show twice is moved out of the doubled hour, to the same side.

    >>> asked_time(1_793_514_600_999, "iso", "UTC")
    '2026-11-01T06:30:00Z'
    >>> asked_time(1_793_514_600_000, "%Y-%m-%d %H:%M", "America/New_York")  # the second 01:30
    '2026-11-01 00:30'
    """
    if form == "epoch_ms":
        return str(at_ms)
    seconds = -(-at_ms // 1000) if latest else at_ms // 1000
    if form == "epoch_s":
        return str(seconds)
    moment = datetime.fromtimestamp(seconds, UTC)
    if form == "iso":
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
    local = moment.astimezone(ZoneInfo(zone)).replace(fold=0)
    doubled = (local.utcoffset() or timedelta()) - (local.replace(fold=1).utcoffset() or timedelta())
    if doubled > timedelta():
        local += doubled if latest else -doubled
    return local.strftime(form)
