"""What no ring explains: divided over log entries and keg changes, in whole microlitres.

Order: entries with a time, first those of which just such a serve is there; then kegs going on; then
entries without a time, which explain only what is left of their product and day. An entry explains no
more than it says, within the meter's tolerance; a keg going on no more than the venue's allowance, once
per keg.

Of meters that tell no single pours the beer that was written down may have been given to a ring, and that
ring's own beer to the next: what is left then stands at a later hour. There an entry, or a keg going on,
explains what is left later in the day too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from unrung.ledger.inputs import KegLine, LogLine
from unrung.ledger.said import Names, log_order, sayings
from unrung.settings import Matching
from unrung.units import UNITS_UL

KEG_CHANGE = "keg_change"
ALIKE = 0.12
"""A glass holds what was written down of it to within this share (common practice, no source)."""


@dataclass(slots=True)
class Rest:
    """One serve without a ring, and what of it is still unexplained."""

    outlet: str
    """Outlet or pool."""
    tap: str
    meter: str
    product: str
    end_ms: int
    volume_ul: int
    left_ul: int
    place: int
    """Where it stands among the day's serves."""
    since_ms: int | None = None
    """Start of its span, where its time is not known and ``end_ms`` is the last it can be."""
    said: bool = False
    """Whether somebody likely wrote it down."""


@dataclass(slots=True)
class Said:
    """One log entry (of one product) or keg change: what it says, and what of the pours it explains."""

    reason: str
    said_ul: int
    line: LogLine | KegLine
    outlet: str = ""
    product: str = ""
    first: bool = True
    """False for the further products of an entry that names an item of several."""
    explained: list[tuple[Rest, int]] = field(default_factory=list)

    @property
    def explained_ul(self) -> int:
        return sum(volume for _, volume in self.explained)


def divide(
    rests: Sequence[Rest], logs: Iterable[LogLine], kegs: Iterable[KegLine],
    kegs_before: Iterable[KegLine], names: Names, matching: Matching, allowance_ul: int,
) -> list[Said]:
    """Explain what can be explained; ``left_ul`` of the rests goes down accordingly.

    ``kegs_before``: the day before's events, for kegs that go on again.
    """
    entries = sorted((log for log in logs if not is_cleaning_span(log)), key=log_order)
    timed: list[tuple[Said, int]] = []
    untimed: list[tuple[Said, int]] = []
    for log in entries:
        for one in _said(log, names, matching):
            (untimed if log.at_ms is None else timed).append(one)
    _divide_over(rests, timed, matching)
    kegs_on = [_explain_keg(keg, rests, names, matching, allowance_ul)
               for keg in _kegs_going_on(kegs, kegs_before)]
    _divide_over(rests, untimed, matching)
    return [said for said, _ in timed] + kegs_on + [said for said, _ in untimed]


def is_cleaning_span(log: LogLine) -> bool:
    """Whether an entry covers what flowed from its start to its end, whatever it says."""
    return log.reason == "cleaning" and log.at_ms is not None and log.end_ms is not None


def allowance(matching: Matching, unit: str) -> int:
    """The keg-change allowance in whole microlitres; the setting is in the venue's unit."""
    return round(Fraction(matching.keg_change_allowance) * UNITS_UL[unit])


def _said(log: LogLine, names: Names, matching: Matching) -> list[tuple[Said, int]]:
    """What an entry says of each product, and the most that it can explain."""
    outlet = names.outlets.of(log.outlet)
    return [
        (Said(log.reason, saying.volume_ul, log, outlet, saying.product, first=nth == 0),
         saying.volume_ul + int(saying.volume_ul * Fraction(str(matching.log_tolerance))))
        for nth, saying in enumerate(sayings(log, names))
    ]


def _divide_over(rests: Sequence[Rest], entries: Iterable[tuple[Said, int]], matching: Matching) -> None:
    """Each entry explains the very serve that it tells of, where there is one; then the nearest rests."""
    for said, most_ul in entries:
        _take(said, _the_very(said, rests, matching), most_ul)
    for find in (_nearest, _later):
        for said, most_ul in entries:
            left_ul = said.said_ul - said.explained_ul if said.explained else most_ul
            _take(said, find(said, rests, matching), left_ul)


def _nearest(said: Said, rests: Sequence[Rest], matching: Matching) -> list[Rest]:
    """The rests that an entry may be of, nearest in time first; without a time, from the day's start on."""
    log = said.line
    assert isinstance(log, LogLine)
    near = [rest for rest in rests if _in_time(log, rest, matching) and _fits(log, said, rest)]
    return sorted(near, key=lambda rest: (_away(log, rest), rest.end_ms, rest.place))


def _later(said: Said, rests: Sequence[Rest], matching: Matching) -> list[Rest]:
    """What is left of an entry's beer after it, of meters that tell no single pours."""
    log = said.line
    assert isinstance(log, LogLine)
    if log.at_ms is None:
        return []
    since = log.at_ms - round(matching.log_before_minutes * 60_000)
    later = [rest for rest in rests if rest.since_ms is not None and since <= rest.end_ms
             and _fits(log, said, rest)]
    return sorted(later, key=lambda rest: (rest.end_ms, rest.place))


def _the_very(said: Said, rests: Sequence[Rest], matching: Matching) -> list[Rest]:
    """The nearest rest that is as large as the entry says, if there is one; rather one that was likely
    written down."""
    alike = [rest for rest in _nearest(said, rests, matching)
             if rest.left_ul == rest.volume_ul and abs(rest.volume_ul - said.said_ul) <= ALIKE * said.said_ul]
    return sorted(alike, key=lambda rest: not rest.said)[:1]


def _in_time(log: LogLine, rest: Rest, matching: Matching) -> bool:
    if log.at_ms is None:
        return True
    lo = log.at_ms - round(matching.log_before_minutes * 60_000)
    hi = (log.end_ms or log.at_ms) + round(matching.log_after_minutes * 60_000)
    return lo <= rest.end_ms and _earliest(rest) <= hi


def _away(log: LogLine, rest: Rest) -> int:
    if log.at_ms is None:
        return 0
    return max(log.at_ms - rest.end_ms, _earliest(rest) - (log.end_ms or log.at_ms), 0)


def _earliest(rest: Rest) -> int:
    return rest.end_ms if rest.since_ms is None else rest.since_ms


def _fits(log: LogLine, said: Said, rest: Rest) -> bool:
    return (
        said.product in ("", rest.product) and said.outlet in ("", rest.outlet)
        and (not log.tap or _is_tap(log.tap, rest))
    )


def _is_tap(name: str, rest: Rest) -> bool:
    return name.casefold() in (rest.tap.casefold(), rest.meter.casefold())


def _take(said: Said, near: Iterable[Rest], most_ul: int) -> None:
    for rest in near:
        volume = min(rest.left_ul, most_ul)
        if volume > 0:
            rest.left_ul -= volume
            most_ul -= volume
            said.explained.append((rest, volume))


def _kegs_going_on(kegs: Iterable[KegLine], before: Iterable[KegLine]) -> list[KegLine]:
    """Each keg's first coupling: putting the same keg back, or a part-used one on, earns no new
    allowance."""
    seen = {_number(keg) for keg in before if keg.kind == "on"}
    first = []
    for keg in sorted(kegs, key=lambda keg: (keg.at_ms, keg.tap, keg.product, keg.origin, keg.id)):
        number = _number(keg)
        if keg.kind == "on" and not keg.more.get("part_ul") and (not number or number not in seen):
            first.append(keg)
        if keg.kind == "on":
            seen.add(number)
    return first


def _number(keg: KegLine) -> str:
    return str(keg.more.get("keg") or "")


def _explain_keg(
    keg: KegLine, rests: Sequence[Rest], names: Names, matching: Matching, allowance_ul: int
) -> Said:
    until = keg.at_ms + round(matching.keg_change_minutes * 60_000)
    said = Said(KEG_CHANGE, allowance_ul, keg, names.outlets.of(keg.outlet), names.product(keg.product))
    near = [rest for rest in rests if keg.at_ms <= rest.end_ms and _on_line(keg, said, rest)
            and (rest.since_ms is not None or rest.end_ms <= until)]
    _take(said, sorted(near, key=lambda rest: (rest.end_ms, rest.place)), allowance_ul)
    return said


def _on_line(keg: KegLine, said: Said, rest: Rest) -> bool:
    """Whether a serve came from the tap of a keg, or from its product where no tap is named."""
    if keg.tap:
        return _is_tap(keg.tap, rest)
    return bool(said.product) and said.product == rest.product and said.outlet in ("", rest.outlet)
