"""What findings draw from one day alone and take long to draw, as bytes: kept beside the day's facts, for the
27 days that look back at it."""

from __future__ import annotations

import json
import zlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

from unrung.findings.clusters import quarters
from unrung.findings.glasses import all_glasses, as_rows, of_rows
from unrung.findings.of_a_day import beside, leaving, paired, served
from unrung.findings.pauses import MeterPause, meter_pauses
from unrung.findings.pieces import Beside
from unrung.findings.tap_list import Fit, strangers
from unrung.ledger.facts import DayFacts

RULES = 1
"""To be raised where anything in ``KEPT`` would come out otherwise, so that nothing older is believed."""

LEVEL = 3
"""Of zlib; see ``store.facts``."""


class _Drawn(NamedTuple):
    """One of them: how it is made of a day, put as lists, and made of these (and the day) again."""

    made: Callable[[DayFacts], Any]
    as_lists: Callable[[Any], Any]
    of_lists: Callable[[DayFacts, Any], Any]


def packed(day: DayFacts) -> bytes:
    """What is drawn from ``day``: a few kB for a thousand serves."""
    drawn = {
        name: one.as_lists(day.once(name, None, partial(one.made, day))) for name, one in KEPT.items()
    }
    return zlib.compress(json.dumps(drawn, separators=(",", ":")).encode(), LEVEL)


def recall(day: DayFacts) -> None:
    """What came with the day need not be drawn from it again."""
    content = day.known("drawn")
    if content is not None and day.known("recalled") is None:
        day.once("recalled", None, partial(_recalled, day, json.loads(zlib.decompress(content))))


def _recalled(day: DayFacts, told: Mapping[str, Any]) -> bool:
    for name in KEPT.keys() & told.keys():
        day.once(name, None, partial(KEPT[name].of_lists, day, told[name]))
    return True


def _pieces(day: DayFacts, told: Mapping[str, Sequence[Any]]) -> dict[str, Beside]:
    return {
        tap: Beside([*map(_pair, short)], [*map(_pair, following)], late)
        for tap, (short, following, late) in told.items()
    }


def _pair(told: Sequence[int]) -> tuple[int, int]:
    one, other = told
    return one, other


def _pauses(day: DayFacts, told: Sequence[Sequence[Any]]) -> list[MeterPause]:
    return [MeterPause(tap, _pair(gap), rings, expected) for tap, gap, rings, expected in told]


def _strangers(day: DayFacts, told: Sequence[Sequence[Any]]) -> list[tuple[str, str, Fit, Fit]]:
    return [(tap, product, Fit(*own), Fit(*other)) for tap, product, own, other in told]


KEPT: Mapping[str, _Drawn] = {
    "leaving": _Drawn(leaving, list, lambda day, told: told),
    "served": _Drawn(served, dict, lambda day, told: Counter(told)),
    "paired of outlets": _Drawn(paired, dict, lambda day, told: Counter(told)),
    "quarters": _Drawn(quarters, list, lambda day, told: [*map(tuple, told)]),
    "glasses": _Drawn(all_glasses, as_rows, of_rows),
    "pieces": _Drawn(beside, dict, _pieces),
    "meter pauses": _Drawn(meter_pauses, list, _pauses),
    "strangers": _Drawn(strangers, list, _strangers),
}
"""By the name under which a day keeps it (``DayFacts.once``)."""
