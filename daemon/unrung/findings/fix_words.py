"""What a fix did, in a sentence for mail, page and screen."""

from __future__ import annotations

from unrung.findings.fix_effect import LEAST_DAYS, Effect
from unrung.findings.wording import sum_volume, times
from unrung.ledger.results import FixNote, Verdict
from unrung.settings import Fix, Settings
from unrung.units import UNIT_LABELS
from unrung.venue_time import day_name

ENDS: dict[Verdict, str] = {
    "closed": "closed",
    "smaller": "less, but not gone; it stands",
    "no_help": "it did not help; the finding is open again",
    "too_early": "not clear yet",
}


def measured_words(
    fix: Fix, name: str, verdict: Verdict, found: Effect | None, days: tuple[int, int],
    settings: Settings,
) -> str:
    """With a day's cost before and after, and the interval of what changed. ``name``: what is counted."""
    if found is None:
        return f"{_start(fix, settings)}: {name}, too early to say ({_how_many(days)})."
    return (
        f"{_start(fix, settings)}: {name}, {sum_volume(found.before, settings)} a day before, "
        f"{sum_volume(found.after, settings)} after ({_change(found, settings)}): {ENDS[verdict]}."
    )


def event_words(
    fix: Fix, finding: str, verdict: Verdict, days: int, asked: int, settings: Settings
) -> str:
    """Of what happens now and then: seen again, or not."""
    name = finding.replace("_", " ")
    if verdict == "no_help":
        return f"{_start(fix, settings)}: {name} was seen again since; the finding is open again."
    if verdict == "closed":
        waited = times(days, "day", settings)
        return f"{_start(fix, settings)}: {name} was not seen again in {waited}: closed."
    return f"{_start(fix, settings)}: {name}, too early to say ({days} of {asked} days without it)."


def unmet_words(fix: Fix, settings: Settings) -> str:
    """Nothing stood there: there is nothing to hold the fix against."""
    return (
        f"{_start(fix, settings)}: nothing was found there in the four weeks before, so there is nothing to "
        "compare."
    )


def short_words(note: FixNote) -> str:
    """For the evidence of a finding that still stands."""
    return f"Fix: {note.sentence}"


def _start(fix: Fix, settings: Settings) -> str:
    """"Portion on tap 2 set to 17.0, fixed Sat, Nov 14"; the tap or beer where it names neither itself."""
    what = fix.what.strip().rstrip(".:;,")
    place = f"tap {fix.tap}" if fix.tap else fix.product
    unsaid = place and (fix.tap or fix.product).casefold() not in what.casefold()
    day = day_name(fix.day, settings)
    return f"{what[:1].upper()}{what[1:]}{f' ({place})' if unsaid else ''}, fixed {day}"


def _how_many(days: tuple[int, int]) -> str:
    before, after = days
    if before < LEAST_DAYS:
        return f"only {before} {'day' if before == 1 else 'days'} before it to go by"
    return f"{after} of {LEAST_DAYS} days"


def _change(found: Effect, settings: Settings) -> str:
    """The interval as what is less: "170 to 222 fl oz less, 90 % interval"."""
    sign = 1 if found.before >= 0 else -1
    low, high = sorted((-sign * found.low, -sign * found.high))
    if low >= 0:
        return f"90 % interval: {_between(low, high, settings)} less"
    if high <= 0:
        return f"90 % interval: {_between(-high, -low, settings)} more"
    return f"90 % interval: {sum_volume(-low, settings)} more to {sum_volume(high, settings)} less"


def _between(low: float, high: float, settings: Settings) -> str:
    """"170 to 222 fl oz"."""
    label = f" {UNIT_LABELS[settings.venue.volume_unit]}"
    return f"{sum_volume(low, settings).removesuffix(label)} to {sum_volume(high, settings)}"
