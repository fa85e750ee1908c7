"""What the three tables are proposed from, and what was made of it so far."""

from __future__ import annotations

from dataclasses import dataclass, field

from unrung.setup.groups import Group
from unrung.setup.meet import Hill, PourFact, RingFact, learn_hill
from unrung.setup.portions import Portion
from unrung.setup.proposal import Key, KnownNames
from unrung.setup.taps import Pair


@dataclass
class Evidence:
    """What the tables are made from. ``pours`` in microlitres."""

    rings: list[RingFact]
    pours: list[PourFact]
    prices: dict[Key, str]
    known: KnownNames
    spans: bool = False
    """Whether the meters or the till count over spans, and tell no single pours or sales."""
    counts: list[PourFact] = field(default_factory=list)
    """All that the meters wrote, drips and zeros too."""
    hill: Hill | None = None
    groups: list[Group] = field(default_factory=list)
    pairs: dict[str, Pair] = field(default_factory=dict)
    portions: dict[Key, Portion] = field(default_factory=dict)
    products: dict[int, str] = field(default_factory=dict)
    """Group index to the name of its product."""

    @property
    def beer(self) -> dict[Key, str]:
        """Items that are beer, to their product."""
        return {key: name for index, name in self.products.items() for key in self.groups[index].keys}

    @property
    def sizes(self) -> dict[Key, float]:
        """Microlitres of the items whose portion is known."""
        return {key: float(portion.volume_ul) for key, portion in self.portions.items()}

    def of_group(self, index: int) -> tuple[list[RingFact], list[PourFact]]:
        """A beer's rings, and the pours of its taps."""
        keys = self.groups[index].keys
        name = self.products[index]
        taps = {tap for tap, pair in self.pairs.items() if pair.group == index}
        taps |= {tap for tap, told in self.known.of_tap.items() if any(p == name for _, p in told)}
        rings = [ring for ring in self.rings if Key(ring.item, ring.size) in keys]
        return rings, [pour for pour in self.pours if pour.tap in taps]


def hill_of(evidence: Evidence) -> Hill | None:
    """The usual lags between rings and pours."""
    return learn_hill(
        sorted(ring.at_ms for ring in evidence.rings), sorted(pour.end_ms for pour in evidence.pours)
    )
