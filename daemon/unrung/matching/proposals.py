"""Other ways of cutting a day's pours than the one it has now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Ints
from unrung.matching.pieces import Pieces
from unrung.matching.serves import Cut, Weighed, by_itself


@dataclass(frozen=True, slots=True)
class Proposals:
    """Pieces to make in place of others. Shapes: (proposals, ``MAX_FRAGMENTS``), padded with -1."""

    leads: Ints
    """The first pours of the pieces replaced, rising."""
    made: Ints

    def some(self, which: Bools | Ints) -> Proposals:
        """Some of them."""
        return Proposals(self.leads[which], self.made[which])


@dataclass(frozen=True, slots=True)
class Now:
    """The cut as it is, seen from the pours."""

    cut: Cut
    lead: Ints
    """The first pour of each pour's piece."""
    size: Ints
    """How many pours that piece has."""


def now_of(pieces: Pieces, cut: Cut) -> Now:
    """Who belongs with whom now."""
    leads = np.flatnonzero(cut >= 0)
    rows = pieces.rows[cut[leads]]
    at, column = np.nonzero(rows >= 0)
    lead, size = np.zeros(len(cut), np.int64), np.zeros(len(cut), np.int64)
    lead[rows[at, column]] = leads[at]
    size[rows[at, column]] = (rows >= 0).sum(axis=1)[at]
    return Now(cut, lead, size)


def proposals_of(weighed: Weighed, now: Now, poor: Bools, open_: Bools) -> Proposals:
    """Every other way that touches a pour that is badly off, or near a free ring (``open_``)."""
    parts = [
        _other_groups(weighed, now, poor), _apart(weighed, now, open_), _other_ways(weighed, now, open_),
    ]
    return Proposals(
        np.concatenate([part.leads for part in parts]), np.concatenate([part.made for part in parts])
    )


def _other_groups(weighed: Weighed, now: Now, poor: Bools) -> Proposals:
    """Groups in place of others, where some pour in them is badly off now."""
    pieces, rows = weighed.pieces, weighed.groups.rows
    at = np.flatnonzero(np.append(poor, False)[rows].any(axis=1))
    rows, piece = rows[at], pieces.together + at
    leads = _distinct(np.append(now.lead, -1)[rows])
    covered = np.append(now.size, 0)[leads].sum(axis=1)
    rest = covered - (rows >= 0).sum(axis=1)
    fits = (rest <= 2) & (now.cut[rows[:, 0]] != piece)
    rows, piece, leads = rows[fits], piece[fits], leads[fits]
    held = np.append(now.cut, -1)[leads]
    members = np.where(held[:, :, None] >= 0, pieces.rows[held], -1).reshape(
        len(leads), priors.MAX_FRAGMENTS**2
    )
    left = members[:, :, None] == rows[:, None, :]
    others = _packed(np.where(left.any(axis=2), -1, members), 2)
    alone = np.append(by_itself(weighed), -1)[others]
    made = np.concatenate((piece[:, None], alone, np.full((len(piece), 1), -1)), axis=1)
    return Proposals(leads, made)


def _apart(weighed: Weighed, now: Now, open_: Bools) -> Proposals:
    """The pours of a group by themselves."""
    lead = np.flatnonzero((now.cut >= 0) & (now.size > 1))
    rows = weighed.pieces.rows[now.cut[lead]]
    some = np.append(open_, False)[rows].any(axis=1)
    return Proposals(_only(lead[some]), np.append(by_itself(weighed), -1)[rows[some]])


def _other_ways(weighed: Weighed, now: Now, open_: Bools) -> Proposals:
    """A long pour as other glasses, or as one."""
    rows = weighed.splits.rows
    at = np.flatnonzero(open_[rows] & (now.size[rows] == 1))
    ways = np.concatenate((weighed.pieces.way[at], rows[at][:, None]), axis=1)
    other, column = np.nonzero((ways >= 0) & (ways != now.cut[rows[at]][:, None]))
    return Proposals(_only(rows[at][other]), _only(ways[other, column]))


def _only(values: Ints) -> Ints:
    found = np.full((len(values), priors.MAX_FRAGMENTS), -1)
    found[:, 0] = values
    return found


def _distinct(values: Ints) -> Ints:
    """Each row's different numbers, rising, then -1."""
    ordered = np.sort(values, axis=1)
    again = np.zeros(ordered.shape, np.bool_)
    again[:, 1:] = ordered[:, 1:] == ordered[:, :-1]
    return _packed(np.where(again, -1, ordered), values.shape[1])


def _packed(values: Ints, width: int) -> Ints:
    """Each row's numbers, rising, without the -1 between them; then -1."""
    far = np.iinfo(np.int64).max
    ordered = np.sort(np.where(values < 0, far, values), axis=1)[:, :width]
    return np.where(ordered == far, -1, ordered)
