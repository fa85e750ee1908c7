"""The two sides that are paired, rings and serves, and what pairs are possible, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.laws import CLASSES, SAID


@dataclass(frozen=True, slots=True)
class Rings:
    """Ring units and log entries as the assignment sees them, sorted by product and corrected time."""

    product: Ints
    corrected: Ints
    """Its time corrected by the learnt clock (ms): about when its serve ended."""
    shift: Ints
    """Middle residual lag of its round-mates (ms); 0 without any."""
    law: Ints
    """Row of ``Laws.mates``: its day's rows, and how many mates it has; ``SAID`` for a log entry."""
    base: Ints
    """Gain of being paired at all."""
    centre: Floats
    """Log of what a glass sold as this portion holds."""
    latest: Ints
    """Its serve ended no later (voided rings)."""


@dataclass(frozen=True, slots=True)
class Glasses:
    """Serves as the assignment sees them, sorted by product and end."""

    product: Ints
    end: Ints
    log_volume: Floats
    lone: Floats
    """Log density of its volume and of having no ring, less the log chance of having one."""
    wrong: Ints
    """Gain of its volume under a ring that names another size."""
    own: Ints
    """Gain of a ring by the name that the tap list gives,"""
    other: Ints
    """and of one by another name: where a tap is connected to another keg, the likelier."""


@dataclass(frozen=True, slots=True)
class Edges:
    """Possible pairs, sorted by ring and serve; every gain is positive."""

    ring: Ints
    glass: Ints
    gain: Ints


def is_said(rings: Rings) -> Bools:
    """Which rows are log entries."""
    found: Bools = rings.law % CLASSES == SAID
    return found


def rings_at(rings: Rings, rows: Ints | Bools | slice) -> Rings:
    """Some of the rings, in the order of ``rows``."""
    return Rings(*(getattr(rings, name)[rows] for name in Rings.__slots__))


def glasses_at(glasses: Glasses, rows: Ints | Bools | slice) -> Glasses:
    """Some of the serves, in the order of ``rows``."""
    return Glasses(*(getattr(glasses, name)[rows] for name in Glasses.__slots__))


def put_together(parts: Sequence[Edges], glasses: int) -> Edges:
    """All of them, sorted; no pair is in two. ``glasses``: how many there are."""
    ring, glass, gain = (
        np.concatenate([getattr(part, name) for part in parts]) for name in Edges.__slots__
    )
    order = np.argsort(ring * glasses + glass)
    return Edges(ring[order], glass[order], gain[order])
