"""The rows of ``taps.csv``."""

from __future__ import annotations

import re
from collections.abc import Sequence

from unrung.setup.evidence import Evidence
from unrung.setup.proposal import Key, Place, Tables, TapLine
from unrung.setup.taps import in_doubt


def add_taps(evidence: Evidence, taps: Sequence[str], place: Place, tables: Tables) -> None:
    for tap in taps:
        pair, told = evidence.pairs.get(tap), evidence.known.of_tap.get(tap, ())
        outlet = evidence.known.outlet_of_tap.get(tap) or (pair.outlet if pair else "") or place.outlet
        if len(told) > 1:
            tables.taps += _dated(tap, outlet, told)
        elif told:
            tables.taps.append(TapLine(tap, outlet, told[0][1]))
        elif pair:
            tables.taps.append(TapLine(tap, outlet, evidence.products[pair.group]))
        else:
            tables.remarks.append(
                f"Tap {tap} is left out: no item of the till goes with its pours. Add it to taps.csv with "
                "its beer; until then its pours are kept and not compared."
            )
    _cellar_taps(evidence, place, tables)


def _cellar_taps(evidence: Evidence, place: Place, tables: Tables) -> None:
    """Taps that only the cellar knows: a meter of the same beer that the cellar never speaks of is
    the same tap under another name; without one the tap has no meter."""
    named = {tap.casefold() for tap in evidence.known.of_tap}
    for tap, product in evidence.known.unmetered.items():
        outlet = evidence.known.outlet_of_tap.get(tap) or place.outlet
        same = [
            line for line in tables.taps if line.product == product and line.tap.casefold() not in named
            and not line.meter and line.metered and line.outlet == outlet
        ]
        if len(same) == 1:
            same[0].tap, same[0].meter = tap, same[0].tap
            same[0].remark = f"the cellar's {tap} is taken for the meters' {same[0].meter}: the same beer"
            tables.remarks.append(f"Tap {tap}: {same[0].remark}.")
        else:
            why = "the meters do not know it"
            tables.taps.append(TapLine(tap, outlet, product, metered=False, remark=why))
            tables.remarks.append(f"Tap {tap} ({product}) is set as without a meter: {why}.")


def say_doubtful_taps(evidence: Evidence, tables: Tables) -> None:
    """Taps that a second beer goes with nearly as well, and not as a part of a mixed item."""
    mixed = {Key(row.item, row.size) for row in tables.menu}
    for line in tables.taps:
        pair = evidence.pairs.get(line.meter or line.tap)
        if pair is None or pair.second is None or not in_doubt(pair) or line.tap in evidence.known.of_tap:
            continue
        second = evidence.groups[pair.second]
        if pair.second in evidence.products or not mixed & second.keys.keys():
            line.remark = f"perhaps {second.name}: both go with its pours"
            tables.remarks.append(f"Tap {line.tap} is set to {line.product}; {line.remark}.")


def _dated(tap: str, outlet: str, told: Sequence[tuple[str, str]]) -> list[TapLine]:
    """One row for each beer that the cellar put on, each until the next."""
    ends = [since for since, _ in told[1:]] + [""]
    return [
        TapLine(tap, outlet, product, since=since, until=until)
        for (since, product), until in zip(told, ends, strict=True)
    ]


def by_number(tap: str) -> tuple[object, ...]:
    """Tap 10 after tap 9."""
    return tuple(
        (0, int(part), "") if part.isdigit() else (1, 0, part)
        for part in re.findall(r"\d+|\D+", tap)
    )
