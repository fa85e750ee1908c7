"""What no ring explains: divided over log entries and keg changes, in whole microlitres.

Order: entries with a time, then kegs going on, then entries without a time, which explain only what
is left of their product and day. An entry explains no more than it says, within the meter's
tolerance; a keg going on no more than the venue's allowance, once per keg.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from unrung.ledger.inputs import KegLine, LogLine
from unrung.ledger.menu import Menu
from unrung.settings import Matching
from unrung.units import UNITS_UL


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


@dataclass(slots=True)
class Said:
    """One log entry or keg change: what it says, and what of the pours it explains."""

    reason: str
    said_ul: int
    line: LogLine | KegLine
    outlet: str = ""
    product: str = ""
    explained: list[tuple[Rest, int]] = field(default_factory=list)

    @property
    def explained_ul(self) -> int:
        return sum(volume for _, volume in self.explained)


def divide(
    rests: Sequence[Rest], logs: Sequence[LogLine], kegs: Sequence[KegLine], menu: Menu,
    groups: dict[str, str], matching: Matching, allowance_ul: int,
) -> list[Said]:
    """Explain what can be explained; ``left_ul`` of the rests goes down accordingly."""
    timed = sorted((log for log in logs if log.at_ms is not None and not _is_span_cleaning(log)),
                   key=lambda log: (log.at_ms or 0, log.id))
    said = [_explain_timed(log, rests, menu, groups, matching) for log in timed]
    said += [_explain_keg(keg, rests, matching, allowance_ul) for keg in _kegs_going_on(kegs)]
    said += [_explain_untimed(log, rests, menu, groups, matching)
             for log in logs if log.at_ms is None]
    return said


def said_volume_ul(log: LogLine, menu: Menu) -> int:
    """What an entry says: its volume, or its units of a menu item; 0 where neither can be told."""
    if log.volume_ul is not None:
        return log.volume_ul
    portions = menu.portions(log.item, "", "", "") or ()
    return round(sum(row.portion_ul for row in portions) * log.units_micro / 1_000_000)


def _is_span_cleaning(log: LogLine) -> bool:
    return log.reason == "cleaning" and log.end_ms is not None


def _explain_timed(log: LogLine, rests: Sequence[Rest], menu: Menu, groups: dict[str, str],
                   matching: Matching) -> Said:
    at = log.at_ms or 0
    end = log.end_ms or at
    lo = at - round(matching.log_before_minutes * 60_000)
    hi = end + round(matching.log_after_minutes * 60_000)
    near = [rest for rest in rests if lo <= rest.end_ms <= hi and _fits(log, rest, menu, groups)]
    near.sort(key=lambda rest: (max(at - rest.end_ms, rest.end_ms - end, 0), rest.end_ms, rest.place))
    return _explain(log, near, menu, groups, matching)


def _explain_untimed(log: LogLine, rests: Sequence[Rest], menu: Menu, groups: dict[str, str],
                     matching: Matching) -> Said:
    near = [rest for rest in rests if _fits(log, rest, menu, groups)]
    near.sort(key=lambda rest: (rest.end_ms, rest.place))
    return _explain(log, near, menu, groups, matching)


def _explain(log: LogLine, near: Iterable[Rest], menu: Menu, groups: dict[str, str],
             matching: Matching) -> Said:
    said = Said(log.reason, said_volume_ul(log, menu), log,
                groups.get(log.outlet, log.outlet), _product(log, menu))
    most = said.said_ul + int(said.said_ul * Fraction(str(matching.log_tolerance)))
    _take(said, near, most)
    return said


def _take(said: Said, near: Iterable[Rest], most_ul: int) -> None:
    for rest in near:
        volume = min(rest.left_ul, most_ul)
        if volume > 0:
            rest.left_ul -= volume
            most_ul -= volume
            said.explained.append((rest, volume))


def _fits(log: LogLine, rest: Rest, menu: Menu, groups: dict[str, str]) -> bool:
    product = _product(log, menu)
    return (
        (not product or product.casefold() == rest.product.casefold())
        and (not log.tap or log.tap.casefold() in (rest.tap.casefold(), rest.meter.casefold()))
        and (not log.outlet or groups.get(log.outlet, log.outlet) == rest.outlet)
    )


def _product(log: LogLine, menu: Menu) -> str:
    if log.product or not log.item:
        return log.product
    portions = menu.portions(log.item, "", "", "") or ()
    return portions[0].product if len(portions) == 1 else ""


def _kegs_going_on(kegs: Sequence[KegLine]) -> list[KegLine]:
    """Each keg's first coupling of the day: putting the same keg back earns no new allowance."""
    seen: set[str] = set()
    first = []
    for keg in sorted(kegs, key=lambda keg: (keg.at_ms, keg.id)):
        number = str(keg.more.get("keg") or "")
        if keg.kind == "on" and keg.tap and number not in seen:
            first.append(keg)
            seen.update({number} - {""})
    return first


def _explain_keg(keg: KegLine, rests: Sequence[Rest], matching: Matching, allowance_ul: int) -> Said:
    until = keg.at_ms + round(matching.keg_change_minutes * 60_000)
    near = [rest for rest in rests if keg.at_ms <= rest.end_ms <= until
            and keg.tap.casefold() in (rest.tap.casefold(), rest.meter.casefold())]
    said = Said("keg_change", allowance_ul, keg)
    _take(said, sorted(near, key=lambda rest: (rest.end_ms, rest.place)), allowance_ul)
    return said


def allowance(matching: Matching, unit: str) -> int:
    """The keg-change allowance in whole microlitres; the setting is in the venue's unit."""
    return round(Fraction(matching.keg_change_allowance) * UNITS_UL[unit])
