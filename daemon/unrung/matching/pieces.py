"""Every way to make serves of a day's pours that is worth a look, worked out once, as arrays.

A piece is one or more pours and the vessels that they filled. The first pieces are the pours by
themselves, one serve each, row for row; then long pours as several glasses; then pours taken together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours
from unrung.matching.glasses import Handfuls, Splits
from unrung.matching.groups import Candidates

ONE, JOINED, SHARED = 0, 1, 2
"""A serve that is a pour; one vessel filled in several goes; one of several filled in one go."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """The serves of piece ``i`` are ``first[i]`` up to ``first[i + 1]``; the parts of serve ``k`` are
    ``part_first[k]`` up to ``part_first[k + 1]``."""

    rows: Ints
    """(pieces, ``MAX_FRAGMENTS``): rows of the pours, padded with -1."""
    structure: Floats
    """Log likelihood beyond that of the serves' volumes."""
    first: Ints
    start: Ints
    end: Ints
    volume: Ints
    kind: Ints
    part_first: Ints
    part_row: Ints
    part_ul: Ints
    way: Ints
    """(splits, options): the piece of each way to split; -1 where there is none."""
    together: int
    """The first piece of several pours."""


@dataclass(frozen=True, slots=True)
class Poured:
    """Vessels and what was poured into them; see ``Pieces``."""

    count: Ints
    """Vessels of each piece."""
    start: Ints
    end: Ints
    volume: Ints
    kind: Ints
    parts: Ints
    """How many parts each vessel has."""
    part_row: Ints
    part_ul: Ints


def pieces_of(pours: Pours, splits: Splits, handfuls: Handfuls, candidates: Candidates) -> Pieces:
    """All pieces of a day."""
    alone = len(pours.key)
    at, option = np.nonzero(splits.cost < np.inf)
    way = np.full(splits.cost.shape, -1)
    way[at, option] = alone + np.arange(len(at))
    rows = np.full((alone + len(at), priors.MAX_FRAGMENTS), -1)
    rows[:, 0] = np.concatenate((np.arange(alone), splits.rows[at]))
    rows = np.concatenate((rows, candidates.rows))
    handful = np.concatenate((splits.ways[at, option], candidates.way))
    made = _poured_out_in_parts(pours, rows[alone:], *held(pours, handfuls, rows[alone:, 0], handful))
    one = np.arange(alone)
    return Pieces(
        rows,
        np.concatenate((np.zeros(alone), -splits.cost[at, option], candidates.structure)),
        _bounds(np.concatenate((np.ones(alone, np.int64), made.count))),
        np.concatenate((pours.start, made.start)),
        np.concatenate((pours.end, made.end)),
        np.concatenate((pours.volume, made.volume)),
        np.concatenate((np.full(alone, ONE), made.kind)),
        _bounds(np.concatenate((np.ones(alone, np.int64), made.parts))),
        np.concatenate((one, made.part_row)),
        np.concatenate((pours.volume, made.part_ul)),
        way, alone + len(at),
    )


def held(pours: Pours, handfuls: Handfuls, row: Ints, handful: Ints) -> tuple[Floats, Ints]:
    """(pieces, glasses): what each glass of a handful holds, padded with 0; and how many glasses there
    are, 0 where the handful is -1: one vessel."""
    most = 1 + len(priors.SPLIT_LOG_ODDS)
    sizes, number = np.zeros((len(row), most)), np.zeros(len(row), np.int64)
    several = np.flatnonzero(handful >= 0)
    counts = handfuls.counts[handful[several]]
    volume = np.exp(np.minimum(handfuls.fills.centre, 100.0))[pours.product[row[several]]]
    number[several] = counts.sum(axis=1)
    sizes[(np.arange(most) < number[:, None])] = np.repeat(volume.ravel(), counts.ravel())
    return sizes, number


AT_ONCE = 8_192
"""Pieces worked out at once, so that memory stays bounded."""


def _poured_out_in_parts(pours: Pours, rows: Ints, sizes: Floats, number: Ints) -> Poured:
    parts, at = [], []
    width = (rows >= 0).sum(axis=1)
    # Alike in how many pours, and in whether one vessel or several: no room is kept for others.
    for wide in np.unique(width).tolist():
        for several in (False, True):
            kind = np.flatnonzero((width == wide) & ((number > 0) == several))
            most = max(int(number[kind].max(initial=0)), 1)
            for low in range(0, len(kind), AT_ONCE):
                some = kind[low : low + AT_ONCE]
                parts.append(poured_out(pours, rows[some, :wide], sizes[some, :most], number[some]))
                at.append(some)
    if not parts:
        return poured_out(pours, rows, sizes, number)
    return _in_order(parts, np.concatenate(at))


def _in_order(parts: list[Poured], piece: Ints) -> Poured:
    """Put together, one piece after the other; ``piece``: which one each of ``parts`` is."""
    all_ = Poured(*(np.concatenate([getattr(part, name) for part in parts]) for name in Poured.__slots__))
    vessel_of = np.repeat(piece, all_.count)
    vessel = np.argsort(vessel_of, kind="stable")
    part = np.argsort(np.repeat(vessel_of, all_.parts), kind="stable")
    return Poured(
        all_.count[np.argsort(piece)], all_.start[vessel], all_.end[vessel], all_.volume[vessel],
        all_.kind[vessel], all_.parts[vessel], all_.part_row[part], all_.part_ul[part],
    )


def poured_out(pours: Pours, rows: Ints, sizes: Floats, number: Ints) -> Poured:
    """What ``rows`` poured in turn into each glass, in proportion to ``sizes``; into one vessel where
    ``number`` is 0. Every microlitre is in exactly one part; the last glass takes the rounding."""
    some = rows >= 0
    volume = np.where(some, pours.volume[rows], 0)
    until = np.cumsum(volume, axis=1)
    since = until - volume
    low, high, real = _edges(until[:, -1], sizes, number)
    first = np.maximum(low[:, :, None] - since[:, None, :], 0)
    last = np.minimum(high[:, :, None] - since[:, None, :], volume[:, None, :])
    inside = (first < last) & real[:, :, None]
    inside[:, :, 0] |= (low == high) & real
    start = pours.start[rows][:, None, :]
    lasts, least = pours.end[rows][:, None, :] - start, np.maximum(volume, 1)[:, None, :]
    begun, ended = start + lasts * first // least, start + lasts * last // least
    piece, glass = np.nonzero(real)
    begin = inside[piece, glass].argmax(axis=1)
    finish = inside.shape[2] - 1 - inside[piece, glass, ::-1].argmax(axis=1)
    end = ended[piece, glass, finish]
    joined = number[piece] == 0
    end[joined] = np.where(some, pours.end[rows], -(1 << 60)).max(axis=1)[piece[joined]]
    parts = np.nonzero(inside[piece, glass])
    return Poured(
        real.sum(axis=1), begun[piece, glass, begin], end, (high - low)[piece, glass],
        np.where(joined, JOINED, SHARED), inside[piece, glass].sum(axis=1),
        rows[piece[parts[0]], parts[1]],
        np.maximum(last - first, 0)[piece[parts[0]], glass[parts[0]], parts[1]],
    )


def _edges(total: Ints, sizes: Floats, number: Ints) -> tuple[Ints, Ints, Bools]:
    """(pieces, glasses): from where to where each glass takes of the whole; and which glasses are."""
    filled = np.cumsum(sizes, axis=1)
    share = np.where(number > 0, filled[:, -1], 1.0)
    high = (total[:, None] * filled / share[:, None]).astype(np.int64)
    last = np.maximum(number, 1) - 1
    high[np.arange(len(last)), last] = total
    real = np.arange(sizes.shape[1]) <= last[:, None]
    low = np.concatenate((np.zeros((len(last), 1), np.int64), high[:, :-1]), axis=1)
    return low, high, real


def _bounds(count: Ints) -> Ints:
    found: Ints = np.concatenate(([0], np.cumsum(count)))
    return found
