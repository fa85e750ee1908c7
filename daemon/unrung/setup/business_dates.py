"""Whether the date beside a till's times is that of the business day: past midnight it is a day behind."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from unrung.setup.draft import Draft
from unrung.setup.meet import learn_hill, lifted
from unrung.setup.times import has_offset

_ENOUGH = 20
"""Rings after midnight by which it is seen."""
_CLEARLY = 0.3
_DAY_MS = 86_400_000
_SAID = frozenset("business trading geschaftstag".split())
"""Words that say so in the header of a date."""


def writes_dates_apart(draft: Draft) -> bool:
    """Whether a till writes date and local time in two columns."""
    return draft.side == "rings" and len(draft.fields.get("at", ())) == 2 and not has_offset(
        draft.formats.get("time", "iso"), draft.texts_of_time)


def settle_dates(
    draft: Draft, rings: Sequence[int], pours: Sequence[int], zone: str, day_starts: str
) -> None:
    """``formats.dates`` of such a till. Times as its dates are read so far, in sorted UTC milliseconds."""
    if are_of_business_days(draft.header_words("at"), rings, pours, zone, day_starts):
        draft.formats["dates"] = "business_day"
        draft.why["dates"] = "a ring after midnight finds its pour a day after the date that it bears"


def are_of_business_days(
    header: set[str], rings: Sequence[int], pours: Sequence[int], zone: str, day_starts: str
) -> bool:
    """Whether rings after midnight find pours a day after the date that they bear and not on it; where there
    are too few of them, whether words of the ``header`` say so."""
    info, morning = ZoneInfo(zone), time.fromisoformat(day_starts)
    early = [at for at in rings if datetime.fromtimestamp(at / 1000, UTC).astimezone(info).time() < morning]
    hill = learn_hill(rings, pours)
    if hill is None or len(early) < _ENOUGH:
        return bool(_SAID & header)
    as_dated, a_day_later = (
        lifted([at + moved for at in early], pours, -hill.high_ms, -hill.low_ms) for moved in (0, _DAY_MS)
    )
    return a_day_later.least > as_dated.lift + _CLEARLY
