"""What setup proposes for the three tables, with a remark where a row rests on little."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple


class Key(NamedTuple):
    """What the till calls an item: name and size."""

    item: str
    size: str

    def __str__(self) -> str:
        return " ".join(filter(None, self))


@dataclass(slots=True)
class TapLine:
    """A row of ``taps.csv``; ``since`` and ``until`` are local times or dates, or empty."""

    tap: str
    outlet: str
    product: str
    metered: bool = True
    meter: str = ""
    since: str = ""
    until: str = ""
    pulses_per_litre: str = ""
    remark: str = ""


@dataclass(slots=True)
class MenuLine:
    """A row of ``menu.csv``; an empty product says that the item is no draught beer."""

    item: str
    size: str
    product: str
    portion: str = ""
    unit: str = ""
    price: str = ""
    remark: str = ""


@dataclass(slots=True)
class ProductLine:
    """A row of ``products.csv``."""

    product: str
    keg_size: str = ""
    keg_cost: str = ""


@dataclass(slots=True)
class Tables:
    """The three tables as proposed."""

    products: list[ProductLine] = field(default_factory=list)
    menu: list[MenuLine] = field(default_factory=list)
    taps: list[TapLine] = field(default_factory=list)
    pools: list[tuple[str, str, float]] = field(default_factory=list)
    """Pairs of outlets whose staff seem to ring for each other, and how strongly."""
    found: float = 0.0
    """Share of the beer in the sample's serves that finds a ring this way, by a rough count."""
    matching: list[tuple[str, str, str]] = field(default_factory=list)
    """Settings of [matching] that the samples ask for: name, value, and why."""
    remarks: list[str] = field(default_factory=list)
    """What a person should look at, as sentences."""


@dataclass(frozen=True, slots=True)
class KnownNames:
    """What the exports beside the till say by name."""

    products: tuple[str, ...] = ()
    """Of the meters, the cellar, the log: as they write them."""
    of_tap: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    """Tap to (since, product), in time order; ``since`` is empty for "always"."""
    outlet_of_tap: dict[str, str] = field(default_factory=dict)
    unmetered: dict[str, str] = field(default_factory=dict)
    """Taps that the cellar knows and the meters do not: tap to product."""


@dataclass(frozen=True, slots=True)
class Place:
    """What the country and the venue decide."""

    metric: bool
    imperial: bool
    outlet: str = "Bar"
    """Name of the only outlet where the till names none."""
    metric_pint: bool = False
    """Whether a pint is 570 mL, as in Australia and New Zealand."""


def unique(names: Iterable[str]) -> list[str]:
    """Names in the order in which they turn up, each once whatever its case."""
    found: dict[str, str] = {}
    for name in names:
        if name.strip():
            found.setdefault(" ".join(name.casefold().split()), name.strip())
    return list(found.values())


def few_found(share: float) -> str:
    """What is said where little of the beer finds a ring."""
    return (
        f"Only {share:.0%} of the beer poured finds a ring this way. Are both exports of the same days and "
        "in the same time zone, and is the unit of the volumes right?"
    )
