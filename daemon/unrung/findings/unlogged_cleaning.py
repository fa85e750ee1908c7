"""``unlogged_cleaning``: cleaning-sized flow outside service with no log entry.

While the venue is closed, several flows at one tap within an hour of each other that add up to the
line's own content and ``RINSE`` more.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence

from unrung.findings.certainty import ounces
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.serves_without_ring import is_full
from unrung.findings.wording import sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import clock, moment

RINSE = ounces(16)
"""Beyond the line's content (common practice, no source)."""
PAUSE_MS = 60 * 60_000
SMALLEST_FLOW = ounces(4)
FEWEST = 2
GLASSES = 2
"""Times as much where each flow is the size of a glass: it may be a last round."""
LARGEST_GLASS = 1.3
"""One flow alone counts from this many times the largest portion on the menu."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap and cleaning."""
    content = {row.tap: row.line_volume_ul for row in settings.taps}
    largest = max((row.portion_ul for row in settings.menu), default=0)
    found = []
    after_ms = settings.matching.keg_change_minutes * 60_000
    for tap, keys in _while_closed(facts).items():
        for run in _runs(facts, keys, facts.window.kegs_on.get(tap, ()), after_ms):
            volume = sum(facts.serves[key].left_ul for key in run)
            flows = {facts.serves[key].parts[0][:2] for key in run}
            several = len(flows) >= FEWEST or volume >= LARGEST_GLASS * largest
            glasses = all(is_full(facts.serves[key], facts.window.portions) for key in run)
            least = (content.get(tap, 0) + RINSE) * (GLASSES if glasses else 1)
            if several and volume >= least:
                found.append(_finding(facts, settings, tap, run))
    return found


def _while_closed(facts: Facts) -> dict[str, list[int]]:
    """The lone flows of each tap that ended while the venue was closed."""
    lone, found = facts.lone, defaultdict[str, list[int]](list)
    for span in facts.window.hours.closed:
        low, high = (bisect_left(lone, at_ms, key=lambda key: facts.serves[key].end_ms) for at_ms in span)
        for key in lone[low:high]:
            found[facts.serves[key].tap].append(key)
    return dict(sorted(found.items()))


def _runs(
    facts: Facts, keys: list[int], kegs: Sequence[int], after_ms: float
) -> Iterator[list[int]]:
    """Lone flows of a tap (``keys``: all while closed), drips and those just after a keg went on left out,
    cut where an hour passes between two."""
    run: list[int] = []
    for key in keys:
        serve = facts.serves[key]
        if serve.left_ul < SMALLEST_FLOW:
            continue
        if any(0 <= serve.start_ms - at_ms <= after_ms for at_ms in kegs):
            continue
        if run and serve.start_ms - facts.serves[run[-1]].end_ms > PAUSE_MS:
            yield run
            run = []
        run.append(key)
    if run:
        yield run


def _finding(facts: Facts, settings: Settings, tap: str, run: list[int]) -> Finding:
    serves = [facts.serves[key] for key in run]
    volume = sum(serve.left_ul for serve in serves)
    evidence = (
        f"{times(len(run), 'flow', settings)} at tap {tap} while closed, "
        f"{moment(serves[0].start_ms, settings)} to "
        f"{clock(serves[-1].end_ms, settings)}: {sum_volume(volume, settings)}. No cleaning is written "
        "down for it."
    )
    return Finding(
        "unlogged_cleaning", serves[0].outlet, f"Tap {tap}: cleaning not written down",
        evidence, "high" if len(run) > FEWEST else "medium", serves[0].start_ms, serves[-1].end_ms,
        serves[0].product, tap, {key: facts.serves[key].left_ul for key in run},
    )
