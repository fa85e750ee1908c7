"""The ledger while it is being made: what the steps of one day write into."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from unrung.ledger.cleaning import Cleaned
from unrung.ledger.coverage import Span
from unrung.ledger.inputs import Origin
from unrung.ledger.material import Material
from unrung.ledger.pours import Flow
from unrung.ledger.rest import Rest
from unrung.ledger.results import Counts, Leaf, Lone, Volumes
from unrung.ledger.rings import Unit
from unrung.matching.types import Serve
from unrung.settings import Settings


class Seen(NamedTuple):
    """A serve, its ring if it has one, and the rest it left if it has none."""

    outlet: str
    serve: Serve
    unit: Unit | None
    rest: Rest | None
    other_size: bool


@dataclass(slots=True)
class Draft:
    """The ledger while it is being made."""

    material: Material
    settings: Settings
    sources: Mapping[int, str]
    """Source id to the name people know the export by."""
    leaves: dict[tuple[int, str, str], Leaf] = field(default_factory=dict)
    lone: list[Lone] = field(default_factory=list)
    rests: list[Rest] = field(default_factory=list)
    rest_flows: list[Flow] = field(default_factory=list)
    rest_uncertain: list[bool] = field(default_factory=list)
    ranges: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    lone_ul: Counter[tuple[str, str]] = field(default_factory=Counter)
    carried_in: Counter[str] = field(default_factory=Counter)
    carried_out: Counter[str] = field(default_factory=Counter)
    ring_cover: list[Span] = field(default_factory=list)
    """Of the whole till."""
    outlet_cover: dict[str, list[Span]] = field(default_factory=dict)
    """Of the till, per outlet or pool that poured."""
    totals_only: list[str] = field(default_factory=list)
    """Outlets of which no single pour can be placed."""
    silent: list[tuple[str, Span]] = field(default_factory=list)
    """Outlets that rang nothing while their beer flowed."""
    pour_cover: dict[tuple[str, str], list[Span]] = field(default_factory=dict)
    """Of the meters, per outlet and product; under two blanks that of them all."""
    stuck: list[tuple[str, str, Span]] = field(default_factory=list)
    """Products that poured nothing while they were rung."""
    seen: list[Seen] = field(default_factory=list)
    waiting: list[tuple[Unit, int]] = field(default_factory=list)
    """Ring units without a serve, with their corrected times, where volume without a time may be
    theirs."""
    lone_units: list[tuple[Unit, int, bool]] = field(default_factory=list)
    """(unit, corrected time, whether it counts as rung and not poured)."""
    hours_ahead: dict[str, int] = field(default_factory=dict)
    """Outlets or pools whose till is whole hours away from the meters, and by how many."""
    renamed: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    """Outlet and product that was poured and hardly rung, to the unlisted items sold meanwhile that
    may be its new names."""
    served: dict[int, Flow] = field(default_factory=dict)
    """Unit key to the flow in a cleaning span that it was filled from."""
    cleaned: list[Cleaned] = field(default_factory=list)
    not_compared: set[int] = field(default_factory=set)
    """Places of rests that could not be compared."""
    _window_ms: int = field(init=False)

    def __post_init__(self) -> None:
        self._window_ms = self.settings.files.window_minutes * 60_000

    def leaf(self, at_ms: int, outlet: str, product: str) -> Leaf:
        """That of the window about a moment; of one beside the day, its first or last window."""
        (lo, hi), step = self.material.bounds, self._window_ms
        if not lo <= at_ms < hi:
            at_ms = lo if at_ms < lo else hi - 1
        start = at_ms - (at_ms - lo) % step
        found = self.leaves.get((start, outlet, product))
        if found is None:
            minutes = (min(start + step, hi) - start) // 60_000
            found = Leaf(start, minutes, outlet, product, Volumes(), Counts())
            self.leaves[start, outlet, product] = found
        return found

    def name_of(self, origin: Origin) -> str:
        """The export that a line came from, as people know it."""
        return self.sources.get(origin.source, "")


def lone_pour(
    draft: Draft, flow: Flow, outlet: str, at_ms: int, volume_ul: int, uncertain: bool
) -> Lone:
    origin = flow.line.origin
    return Lone("pour", outlet, flow.product, flow.tap, at_ms, volume_ul, uncertain, origin.feed,
                draft.name_of(origin), origin.line, origin.ref)
