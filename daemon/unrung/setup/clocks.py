"""The feeds' time forms and the venue's zone, each settled with the help of the other feeds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

from unrung.by_locale import long_day_text
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.times import Evidence, has_offset, read_local, weigh

USUAL = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix", "America/Los_Angeles",
    "America/Toronto", "America/Vancouver", "Europe/London", "Europe/Dublin", "Europe/Berlin",
    "Europe/Vienna", "Europe/Zurich", "Europe/Amsterdam", "Europe/Brussels", "Europe/Paris",
    "Europe/Madrid", "Europe/Rome", "Europe/Copenhagen", "Europe/Stockholm", "Europe/Prague",
    "Europe/Warsaw", "Europe/Helsinki", "Australia/Sydney", "Australia/Melbourne",
    "Australia/Brisbane", "Australia/Perth", "Pacific/Auckland",
)  # fmt: skip
_DAY_FIRST = "day before month"


def settle_time_form(draft: Draft, others: Sequence[Draft], month_first: bool, notes: Notes) -> None:
    """``formats.time`` of a feed; ``month_first``: where nothing else speaks, dates are US ones."""
    forms = draft.time_forms
    if not forms:
        draft.formats["time"] = "iso"
        return
    texts, starts = draft.texts_of_time, draft.sheet.starts
    names, written = [s.name for s in draft.samples], [s.written for s in draft.samples]
    spans = [span for span in map(span_of, others) if span is not None]
    weighed = {
        form: weigh(read_local(form, texts), starts, names, written, spans[0] if spans else None)
        for form in forms
    }
    found = _choice(draft, weighed, texts, month_first)
    draft.formats["time"] = notes.settle(f"{draft.name}: time", found)
    draft.why["time"] = found.why
    if _unordered(read_local(draft.formats["time"], texts), starts):
        draft.formats["order"] = "none"
    if set(draft.fields) & {"day"} and "at" not in draft.fields:
        draft.formats["date"] = draft.formats.pop("time")


def span_of(draft: Draft) -> tuple[datetime, datetime] | None:
    """First and last time of a feed whose form is beyond doubt."""
    if len(draft.time_forms) != 1:
        return None
    moments = [one for one in read_local(draft.time_forms[0], draft.texts_of_time) if one is not None]
    return (min(moments), max(moments)) if moments else None


def _choice(draft: Draft, weighed: dict[str, Evidence], texts: Sequence[str], month_first: bool) -> Found:
    if len(weighed) == 1:
        return Found(next(iter(weighed)), f"as in {next(text for text in texts if text.strip())}")
    ranked = sorted(weighed, key=lambda form: (-weighed[form].points, _unlikely(form, month_first)))
    best, second = ranked[0], ranked[1]
    lead = weighed[best].points - weighed[second].points
    if lead >= 2:
        why = weighed[best].reason or "read the other way the rows would lie months apart"
        return Found(best, why)
    sample = next(text for text in texts if text.strip())
    why = "the other days of the file fit it a little better" if lead > 0.3 else (
        "the usual order where dates are written so")
    choices = tuple((form, _said(form, sample)) for form in ranked)
    question = f"Which day is {sample!r}?"
    return Found(best, why, Doubt(f"{draft.name}: time", question, choices, best, why))


def _unlikely(form: str, month_first: bool) -> bool:
    months_lead = form.find("%m") < form.find("%d")
    return months_lead != (month_first and "/" in form) or form.startswith("%y")


def _said(form: str, sample: str) -> str:
    moment = read_local(form, [sample])[0]
    return long_day_text(moment.date(), "en_GB") if moment else ""  # the venue's locale is not known yet


def _unordered(moments: Sequence[datetime | None], starts: Sequence[int]) -> bool:
    """Whether the rows of a file run neither forwards nor backwards."""
    back = forth = 0
    for lo, hi in pairwise(starts):
        known = [one for one in moments[lo:hi] if one is not None]
        for earlier, later in pairwise(known):
            back += later < earlier - timedelta(minutes=1)
            forth += later > earlier + timedelta(minutes=1)
    return min(back, forth) > 0.2 * max(back, forth, 1)


def month_leads(timezone: str, currency: str) -> bool:
    """Whether dates with slashes are usually month first there (the US alone; common practice)."""
    usual = ("America/New", "America/Chi", "America/Den", "America/Los", "America/Pho", "US/")
    return currency == "USD" or (not currency and timezone.startswith(usual))


def zone_found(drafts: Sequence[Draft], given: str, machine: str) -> Found:
    """The venue's zone: as given, as the offsets in the data say, else this machine's."""
    if given:
        return Found(given, "as given")
    moments = [pair for draft in drafts for pair in _with_offsets(draft)]
    if moments:
        return _by_offsets(moments, machine)
    where = machine or "UTC"
    why = "this machine's" if machine not in ("", "UTC", "Etc/UTC") else (
        "this machine has no zone of its own; business days and clock changes then go by UTC")
    doubt = Doubt("timezone", "In which time zone is the bar (an IANA name)?", (), where, why)
    return Found(where, why, doubt)


def _by_offsets(moments: Sequence[tuple[datetime, timedelta]], machine: str) -> Found:
    """Zones whose clocks show these offsets at these times, the machine's and usual ones first."""
    some = [*moments[:: max(1, len(moments) // 200)], min(moments), max(moments)]
    tried = [*([machine] if machine else []), *USUAL, *sorted(available_timezones())]
    fitting = [zone for zone in dict.fromkeys(tried) if _fits(zone, some)]
    if not fitting:
        why = "no zone has the offsets that the times are written with"
        return Found("UTC", why, Doubt("timezone", "In which time zone is the bar?", (), "UTC", why))
    usual = [zone for zone in fitting if zone in USUAL or zone == machine]
    best = (usual or fitting)[0]
    why = "its clocks show the offsets that the times are written with"
    if best == machine:
        return Found(best, f"this machine's, and {why}")
    doubt = Doubt(
        "timezone", "In which time zone is the bar (an IANA name)?",
        tuple((zone, "") for zone in (usual or fitting)[:8]), best, f"{why}, and so do others",
    )
    return Found(best, why, doubt)


def _fits(zone: str, moments: Sequence[tuple[datetime, timedelta]]) -> bool:
    try:
        info = ZoneInfo(zone)
    except (OSError, ValueError):
        return False
    return all(moment.astimezone(info).utcoffset() == offset for moment, offset in moments)


def _with_offsets(draft: Draft) -> list[tuple[datetime, timedelta]]:
    """(instant, offset) of times that name their offset; a Z says nothing of the bar."""
    form = draft.formats.get("time", "iso")
    texts = list(dict.fromkeys(draft.texts_of_time))
    if form.startswith("epoch") or not has_offset(form, texts):
        return []
    found = []
    for text in texts:
        try:
            bare = text.strip()
            moment = datetime.fromisoformat(bare) if form == "iso" else datetime.strptime(bare, form)  # noqa: DTZ007
        except ValueError:
            continue
        offset = moment.utcoffset()
        if offset is not None and not bare.endswith(("Z", "z", "+00:00", "+0000")):
            found.append((moment.astimezone(UTC), offset))
    return found
