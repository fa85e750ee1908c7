"""Whether the week could have happened, and whether a careful reader could tell what did.

Each check returns sentences, one for each thing that is not as it should be.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from sample_venue.bar import Line, LogRow, Serve, Week
from sample_venue.clock import iso
from sample_venue.ledger import TOLERANCE, day_of
from sample_venue.place import OUNCE

MINUTE = 60
APART = 8 * MINUTE
"""An event that stands alone keeps this far from other serves and rings of its beer."""
NEVER_MET = 75 * MINUTE
"""A pour without a ring and a ring without a pour keep this far apart."""
LOG_BEFORE, LOG_AFTER, KEG_AFTER = 30 * MINUTE, 10 * MINUTE, 10 * MINUTE
LAGS = (-40, 300)
"""A ring comes this long after the last pour of its check: at the counter, or at a table."""
UNRUNG = ("lone", "log", "keg_change", "voided")
"""What happens to a pour that no ring pays for."""


def problems(week: Week) -> list[str]:
    checks = (one_at_a_time, flows, lags, alone, never_met, entries_cover, kegs_cover, cellar)
    return [text for check in checks for text in check(week)]


def one_at_a_time(week: Week) -> Iterator[str]:
    """A tap pours one thing at a time."""
    ends: dict[str, int] = defaultdict(int)
    for pour in sorted(week.pours, key=lambda p: p.start):
        if pour.start < ends[pour.tap.name]:
            yield f"{pour.id} on {pour.tap.name} starts before the one before it ended"
        ends[pour.tap.name] = pour.end


def flows(week: Week) -> Iterator[str]:
    """Beer runs at one to three ounces a second, gas far above four (common practice)."""
    for pour in week.pours:
        flow = pour.ul / OUNCE / (pour.end - pour.start)
        low, high = (6, 12) if pour.label == "gas" else (0.7, 2.6)
        if not low <= flow <= high:
            yield f"{pour.id} ({pour.label}) runs at {float(flow):.2f} ounces a second"


def lags(week: Week) -> Iterator[str]:
    for serve in week.serves:
        if serve.shares and serve.lines:
            lag = serve.lines[0].at - serve.at
            if not LAGS[0] <= lag <= LAGS[1]:
                yield f"line {serve.lines[0].id} comes {lag} s after its pour"


def _by_beer(serves: list[Serve]) -> dict[tuple[str, str], list[Serve]]:
    found: dict[tuple[str, str], list[Serve]] = defaultdict(list)
    for serve in serves:
        found[serve.outlet, serve.product].append(serve)
    return found


def alone(week: Week) -> Iterator[str]:
    """Nothing of the same beer is poured or rung near a pour without a ring or a told event."""
    everything = _by_beer(week.serves)
    for serve in week.serves:
        ordinary = serve.fate in ("rung", "unmetered") and not serve.note
        for other in () if ordinary else everything[serve.outlet, serve.product]:
            near = [other.at, *(line.at for line in other.lines)]
            if _same_event(serve, other):
                continue
            if min(abs(serve.at - at) for at in near) < APART:
                yield (f"{serve.note or serve.fate} at {iso(serve.at)} ({serve.product}) is near "
                       f"a {other.note or other.fate} at {iso(other.at)}")


def _same_event(serve: Serve, other: Serve) -> bool:
    if serve is other or (serve.lines and serve.lines == other.lines):
        return True
    return serve.note == other.note and {serve.fate, other.fate} in ({"log"}, {"lone"}) and (
        serve.fate == "log" or serve.note == "taster"
    )


def never_met(week: Week) -> Iterator[str]:
    """No ring without a pour could be taken for that of a pour without a ring."""
    rung = {line for serve in week.serves if serve.shares for line in serve.lines}
    rings = [
        line for line in week.lines
        if line not in rung and line.micro > 0 and line.status in ("", "VOID")
        and line.item.portions
    ]
    for serve in week.serves:
        if serve.fate in UNRUNG:
            yield from _met(serve, rings)


def _met(serve: Serve, rings: list[Line]) -> Iterator[str]:
    for line in rings:
        beers = [product for product, _ in line.item.portions]
        if line.outlet == serve.outlet and serve.product in beers:
            if abs(line.at - serve.at) < NEVER_MET:
                yield (f"line {line.id} at {iso(line.at)} could pay for the {serve.product} "
                       f"({serve.fate}) at {iso(serve.at)}")


def entries_cover(week: Week) -> Iterator[str]:
    """An entry finds its own pours, all of them, and no other."""
    for entry in week.log:
        if not entry.said_ul:
            continue
        if sum(pour.ul for pour in entry.pours) > entry.said_ul * TOLERANCE:
            yield f"the {entry.reason} entry of {iso(entry.written)} says less than was poured"
        twins = [pour for other in week.log if other.at == entry.at for pour in other.pours]
        for serve in _by_beer(week.serves)[entry.outlet, entry.product or entry.item]:
            own = serve.fate == "log" and serve.shares[0][0] in twins
            if serve.fate in UNRUNG and own != within(entry, serve):
                yield (f"the {entry.reason} entry of {iso(entry.written)} and the "
                       f"{serve.fate} pour at {iso(serve.at)} do not agree")


def within(entry: LogRow, serve: Serve) -> bool:
    """The entry may speak of this pour, by its time or its day."""
    if entry.at is None:
        return day_of(serve.at) == day_of(entry.written)
    return entry.at - LOG_BEFORE <= serve.at <= (entry.until or entry.at) + LOG_AFTER


def kegs_cover(week: Week) -> Iterator[str]:
    """What a new keg costs comes soon after it went on, and nothing else without a ring does."""
    for serve in week.serves:
        if serve.fate not in UNRUNG:
            continue
        tap = serve.shares[0][0].tap.name
        soon = any(
            k.kind == "Tapped" and k.tap == tap and 0 <= serve.at - k.at // 60 * 60 <= KEG_AFTER
            for k in week.kegs
        )
        if soon != (serve.fate == "keg_change"):
            yield f"{serve.fate} on {tap} at {iso(serve.at)} and the keg that went on"


def cellar(week: Week) -> Iterator[str]:
    for keg in week.kegs:
        if keg.kegs < 0:
            yield f"{keg.kegs} kegs of {keg.product} in the {keg.outlet} at {iso(keg.at)}"

