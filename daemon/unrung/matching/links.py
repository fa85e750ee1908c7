"""Pairs of pours of which the second may go on filling the vessel of the first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Ints, Pours


@dataclass(frozen=True, slots=True)
class Links:
    """Pairs of pours, sorted."""

    first: Ints
    second: Ints
    kind: Ints
    """Class of the pause, and of whether other glasses were poured in it; the last class is a keg that
    ran out in between."""
    pace: Ints
    """Coarse class of the pause."""


def links_of(pours: Pours, top_up_gap_ms: int, after_keg: Ints) -> Links:
    """All pairs on one tap, of one product, with a pause of up to ``top_up_gap_ms``; and those whose
    glass may have waited for a new keg. ``after_keg``: see ``columns.after_keg``."""
    carried = len(priors.PAUSES_S) * 2 + 2
    firsts, seconds, kinds, paces = [], [], [], []
    for apart in range(1, priors.MAX_APART + 1):
        first = np.arange(max(len(pours.key) - apart, 0))
        second = first + apart
        pause_ms = pours.start[second] - pours.end[first]
        across = _across(after_keg[second], pause_ms)
        near = (
            (pours.tap[first] == pours.tap[second])
            & (pours.product[first] == pours.product[second])
            & ((pause_ms <= top_up_gap_ms) | across)
            & (pause_ms >= -1_000 * priors.OVERLAP_S)
        )
        firsts.append(first[near])
        seconds.append(second[near])
        pause = np.searchsorted(priors.PAUSES_S, pause_ms[near] / 1_000)
        kind = pause + (len(priors.PAUSES_S) + 1) * min(apart - 1, 1)
        kinds.append(np.where(across[near], carried, kind))
        paces.append(np.searchsorted(priors.PACES_S, pause_ms[near] / 1_000))
    columns = [np.concatenate(part) for part in (firsts, seconds, kinds, paces)]
    order = np.lexsort((columns[1], columns[0]))
    return Links(*(column[order] for column in columns))


def links_at(links: Links, rows: Ints, pours: int) -> Links:
    """Those of some of the pours, whose rows then are numbered anew; a pour's links are all in it or none.
    ``pours``: how many there are."""
    place = np.full(pours, -1)
    place[rows] = np.arange(len(rows))
    kept = np.flatnonzero(place[links.first] >= 0)
    return Links(place[links.first[kept]], place[links.second[kept]], links.kind[kept], links.pace[kept])


def _across(after_ms: Ints, pause_ms: Ints) -> Bools:
    """Whether the keg ran out between two pours, and the second came soon after the new one."""
    soon = after_ms <= 1_000 * priors.KEG_RESUMED_S
    return soon & (pause_ms >= after_ms) & (pause_ms <= after_ms + 1_000 * priors.KEG_WAIT_S)
