"""Flows at faucets while they are being simulated. Volumes in µL as floats, times in ms."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.venues import Line


@dataclass(slots=True)
class Serve:
    """A vessel to be filled at a line."""

    id: int
    label: str
    day: int
    line: Line
    """The line that really pours it."""
    true_product: str
    set_portion_ul: int
    goal_ul: float
    cause: str = ""
    extras: dict[str, float] = field(default_factory=dict)
    """True µL beyond the set portion, by cause, noise not among them."""
    start_ms: int = 0
    end_ms: int = 0


@dataclass(slots=True)
class Flow:
    """One opening of one faucet. ``shares`` are the vessels it fills, in order."""

    want_ms: int
    shares: list[tuple[Serve | None, float]]
    label: str
    rate: float
    """µL a millisecond."""
    noise: float
    """Standard normal draw of the meter's error in it."""
    then: tuple[int, Flow] | None = None
    """A flow into the same vessel that follows after a pause in ms."""
    faucet: str = ""
    skippable: bool = False
    """Is left out where the faucet is busy (a leak cannot be told apart then)."""
    keg: int = 0
    """The keg change it belongs to."""
    new_keg: bool = False
    """A keg is changed first, empty or not."""
    start_ms: int = 0
    end_ms: int = 0

    @property
    def volume_ul(self) -> float:
        return sum(ul for _, ul in self.shares)


def alone(
    want_ms: int, ul: float, label: str, rate: float, noise: float, serve: Serve | None = None
) -> Flow:
    """A flow into one vessel, or into none."""
    return Flow(want_ms, [(serve, ul)], label, rate, noise)
