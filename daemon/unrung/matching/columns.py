"""Rows to arrays in canonical order: sorted by content, so the order they came in is forgotten."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from unrung.matching import priors
from unrung.matching.types import Entry, KegOn, MeteredPour, RingUnit

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[Any]
Bools = npt.NDArray[Any]

NEVER_MS = 1 << 60


@dataclass(frozen=True, slots=True)
class Pours:
    """Pours sorted by product, tap, start, end, volume; ``product`` and ``tap`` are codes."""

    key: Ints
    product: Ints
    tap: Ints
    start: Ints
    end: Ints
    volume: Ints
    taps: tuple[str, ...]
    """Names, by code."""


@dataclass(frozen=True, slots=True)
class Units:
    """Ring units sorted by product, time, portion, check, terminal, voiding."""

    key: Ints
    product: Ints
    at: Ints
    portion: Ints
    check: Ints
    """Code of the check; 0 where the till gave none."""
    terminal: Ints
    voided: Ints
    """``NEVER_MS`` where not voided."""


@dataclass(frozen=True, slots=True)
class Entries:
    """Log entries sorted by product, time, volume."""

    product: Ints
    at: Ints
    volume: Ints


def codes(texts: Sequence[str], known: Iterable[str]) -> Ints:
    """The rank of each text among the sorted ``known`` ones."""
    rank = {text: at for at, text in enumerate(known)}
    return np.fromiter((rank[text] for text in texts), np.int64, len(texts))


def pour_columns(pours: Sequence[MeteredPour], products: Sequence[str]) -> Pours:
    """``pours`` as sorted arrays; every product must be among ``products``."""
    key, tap, product, start, end, volume = zip(*pours, strict=True) if pours else ((),) * 6
    taps = tuple(sorted(set(tap)))
    columns = [
        np.array(column, np.int64)
        for column in (key, codes(product, products), codes(tap, taps), start, end, volume)
    ]
    order = np.lexsort((columns[0], columns[5], columns[4], columns[3], columns[2], columns[1]))
    keys, products_, taps_, starts, ends, volumes = (column[order] for column in columns)
    return Pours(keys, products_, taps_, starts, ends, volumes, taps)


def unit_columns(units: Sequence[RingUnit], products: Sequence[str]) -> Units:
    """``units`` as sorted arrays; every product must be among ``products``."""
    key, product, at, portion, check, terminal, voided = (
        zip(*units, strict=True) if units else ((),) * 7
    )
    columns = [
        np.array(column, np.int64)
        for column in (
            key, codes(product, products), at, portion,
            codes(check, sorted({"", *check})), codes(terminal, sorted({"", *terminal})),
            [NEVER_MS if when is None else when for when in voided],
        )
    ]
    order = np.lexsort((columns[0], columns[6], columns[5], columns[4],
                        columns[3], columns[2], columns[1]))
    return Units(*(column[order] for column in columns))


def entry_columns(entries: Sequence[Entry], products: Sequence[str]) -> Entries:
    """``entries`` of known ``products`` as sorted arrays."""
    known = set(products)
    rows = sorted(entry for entry in entries if entry.product in known and entry.volume_ul > 0)
    product, at, volume = zip(*rows, strict=True) if rows else ((),) * 3
    return Entries(codes(product, products), np.array(at, np.int64), np.array(volume, np.int64))


def stacked_pours(days: Sequence[Pours], product: Ints) -> Pours:
    """The days' pours one after the other; ``product``: the first code of each day's products."""
    key, code, tap, start, end, volume = (
        np.concatenate([getattr(day, name) for day in days])
        for name in ("key", "product", "tap", "start", "end", "volume")
    )
    code += np.repeat(product, [len(day.key) for day in days])
    return Pours(key, code, tap, start, end, volume, max((day.taps for day in days), key=len))


def pours_at(pours: Pours, rows: Ints) -> Pours:
    """Some of the pours."""
    key, product, tap, start, end, volume = (
        getattr(pours, name)[rows] for name in ("key", "product", "tap", "start", "end", "volume")
    )
    return Pours(key, product, tap, start, end, volume, pours.taps)


def stacked_units(days: Sequence[Units], product: Ints) -> Units:
    """The days' units one after the other, with products, checks and terminals of their own."""
    columns = {
        name: np.concatenate([getattr(day, name) for day in days]) for name in Units.__slots__
    }
    of = np.repeat(np.arange(len(days)), [len(day.key) for day in days])
    columns["product"] += product[of]
    for name, none in (("check", 0), ("terminal", -1)):
        most = np.array([getattr(day, name).max(initial=0) + 1 for day in days])
        columns[name] += np.where(columns[name] > none, (np.cumsum(most) - most)[of], 0)
    return Units(**columns)


def stacked_entries(days: Sequence[Entries], product: Ints) -> Entries:
    """The days' log entries one after the other."""
    columns = [np.concatenate([getattr(day, name) for day in days]) for name in Entries.__slots__]
    columns[0] += np.repeat(product, [len(day.at) for day in days])
    return Entries(*columns)


def after_keg(pours: Pours, kegs: Iterable[KegOn]) -> Ints:
    """Milliseconds from the latest keg that went on each pour's tap to the pour's start; ``NEVER_MS``
    where none did. A pour may start a little before its keg was written down."""
    found = np.full(len(pours.key), NEVER_MS)
    rank = {tap: code for code, tap in enumerate(pours.taps)}
    for keg in kegs:
        after = pours.start - keg.at_ms
        mine = (pours.tap == rank.get(keg.tap, -1)) & (after >= -1_000 * priors.KEG_EARLY_S)
        found[mine] = np.minimum(found[mine], after[mine])
    return found


def medians(value: Floats, code: Ints, count: int) -> tuple[Floats, Ints]:
    """The median per code, 0 where there is none; and how many values each code has."""
    order = np.lexsort((value, code))
    value, number = np.append(value[order], 0.0), np.bincount(code, minlength=count)
    first = np.cumsum(number) - number
    middle = (value[first + np.maximum(number - 1, 0) // 2] + value[first + number // 2]) / 2
    return np.where(number > 0, middle, 0.0), number


def spread(low: Ints, high: Ints) -> tuple[Ints, Ints]:
    """All (row, column) with ``low[row] <= column < high[row]``, in order.

    >>> [part.tolist() for part in spread(np.array([0, 2]), np.array([2, 3]))]
    [[0, 0, 1], [0, 1, 2]]
    """
    counts = np.maximum(high - low, 0)
    rows = np.repeat(np.arange(len(low)), counts)
    starts = np.cumsum(counts) - counts
    return rows, np.arange(len(rows)) - np.repeat(starts - low, counts)


def order_key(product: Ints, at: Ints, base_ms: int) -> Ints:
    """One number that sorts by product, then time."""
    return (product << 41) + (at - base_ms)
