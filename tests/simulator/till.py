"""The till: lines, quantities, split checks, voids, comps, refunds, training, food."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from simulator.clock import TillClock
from simulator.lags import LagFamily, burst_times, line_gap_ms, ring_after_ms
from simulator.model import RingLine, TrueUnit
from simulator.rates import RATES, log_normal, stream
from simulator.serving import Bar
from simulator.trade import Day, Drink, Round
from simulator.venues import Item

WHOLE = 1_000_000
THIRDS = (333_333, 333_333, 333_334)
HALVES = (500_000, 500_000)
FOOD = (("Burger", 1450), ("Chips", 550), ("House wine", 900), ("Lemonade", 400), ("Hot pot", 1250))


@dataclass(slots=True)
class Till:
    """Writes lines down as the till would, and keeps what each unit was rung for."""

    clock: TillClock
    family: LagFamily
    lines: list[RingLine] = field(default_factory=list)
    units: list[TrueUnit] = field(default_factory=list)

    def line(
        self, made: Round, item: Item, true_ms: int, units_micro: int = WHOLE, kind: str = "sale",
        voided_ms: int | None = None, check: str = "", price: float = 1.0,
    ) -> RingLine:
        """One line, rung at a true time."""
        amount = round(item.price_minor * units_micro / WHOLE * price)
        written = RingLine(
            len(self.lines) + 1, made.outlet, terminal(made), check or made.check, item.item,
            item.size, item.portions, units_micro, self.clock.shown_ms(true_ms), true_ms, kind,
            None if voided_ms is None else self.clock.shown_ms(voided_ms), amount,
        )
        self.lines.append(written)
        return written

    def unit(
        self, lines: Sequence[RingLine], serves: Sequence[int | None], why: str = ""
    ) -> None:
        """One whole unit on one line, or in fractions on several: a true unit per portion."""
        first = lines[0]
        micro = WHOLE if len(lines) == 1 else 0
        made_of = tuple((line.id, micro or line.units_micro) for line in lines)
        for index, (product, portion_ul) in enumerate(first.portions):
            self.units.append(
                TrueUnit(
                    len(self.units) + 1, made_of, index, product, portion_ul, first.outlet,
                    first.true_ms, serves[index], first.voided_ms is not None, why,
                )
            )


def terminal(made: Round) -> str:
    """The till that a round is rung at."""
    number = 1 + int(made.u[3] * RATES["till"]["terminals"])
    return f"{made.outlet[:2].upper()}{number}"


def ring_day(bar: Bar, till: Till, day: Day, rounds: Sequence[Round]) -> None:
    """All lines of a day's rounds, and the day's odd ones."""
    rng = stream(bar.seed, "till", day.index)
    bursts = {outlet: burst_times(rng, day) for outlet in sorted(bar.venue.drinks)}
    for made in rounds:
        _ring_round(bar, till, day, made, bursts[made.outlet])
    _training(bar, till, day, rounds, rng)


def _ring_round(bar: Bar, till: Till, day: Day, made: Round, bursts: np.ndarray) -> None:
    ends = [bar.serves[serve - 1].end_ms for drink in made.drinks for serve in drink.serves]
    at_ms = made.ring_ms
    if at_ms is None:
        at_ms = ring_after_ms(till.family, made, max(ends), bursts)
    discount = _price(day, at_ms)
    for number, group in enumerate(_groups(made)):
        if number:
            at_ms += line_gap_ms(till.family, made.z[4 + number % 8])
        _ring_group(bar, till, made, group, at_ms, discount)
    for drink in made.drinks:
        if drink.u[20] < RATES["till"]["void_unpoured"]:
            _void_unpoured(till, made, drink, at_ms + 2000, discount)
    _food(till, made, at_ms + 4000)


def _groups(made: Round) -> list[list[Drink]]:
    """Like drinks as one line where the server rings a quantity, else a line each."""
    rung = [drink for drink in made.drinks if drink.rung_item]
    if made.u[4] >= RATES["till"]["grouped"]:
        return [[drink] for drink in rung]
    groups: list[list[Drink]] = []
    for drink in rung:
        like = [
            group for group in groups
            if group[0].rung_item == drink.rung_item and _plain(group[0]) and _plain(drink)
        ]
        if like:
            like[0].append(drink)
        else:
            groups.append([drink])
    return groups


def _plain(drink: Drink) -> bool:
    till = RATES["till"]
    return not drink.voided_after and (
        drink.u[19] >= till["split_checks"]
        and drink.u[21] >= till["rerung"]
        and drink.u[22] >= till["comps"]
    )


def _ring_group(
    bar: Bar, till: Till, made: Round, group: list[Drink], at_ms: int, price: float
) -> None:
    drink, item, rates = group[0], group[0].rung_item, RATES["till"]
    assert item is not None
    serves = _serves(drink, item)
    why = "mis_ring" if drink.cause == "mis_ring" else ""
    if drink.voided_after:
        voided = _voided_at(bar, drink, at_ms)
        line = till.line(made, item, at_ms, kind="void", voided_ms=voided, price=price)
        till.unit([line], serves, "serves_without_ring")
    elif drink.u[19] < rates["split_checks"]:
        _split(till, made, drink, item, at_ms, price, why)
    elif drink.u[21] < rates["rerung"]:
        voided = _voided_at(bar, drink, at_ms)
        line = till.line(made, item, at_ms, kind="void", voided_ms=voided, price=price)
        till.unit([line], [None] * len(item.portions), "void")
        again = till.line(made, item, voided + 5_000 + round(25_000 * drink.u[23]), price=price)
        till.unit([again], serves, why)
    elif drink.u[22] < rates["comps"]:
        till.unit([till.line(made, item, at_ms, kind="comp", price=0.0)], serves, why)
    else:
        line = till.line(made, item, at_ms, WHOLE * len(group), price=price)
        for mate in group:
            till.unit([line], _serves(mate, item), "mis_ring" if mate.cause == "mis_ring" else "")
        if drink.u[23] < rates["refunds"]:
            till.line(made, item, at_ms + 1_800_000, kind="refund", price=-price)


def _serves(drink: Drink, item: Item) -> list[int | None]:
    return [drink.serves[index] for index in range(len(item.portions))]


def _split(
    till: Till, made: Round, drink: Drink, item: Item, at_ms: int, price: float, why: str
) -> None:
    """A drink shared by two or three people who pay apart, on one check or on several."""
    shares = HALVES if drink.u[20] < 0.7 else THIRDS
    span = 1000 * RATES["till"]["split_within_s"] * drink.u[21]
    lines = []
    for number, micro in enumerate(shares):
        check = made.check if drink.u[22] < 0.5 or not number else f"{made.check}/{number + 1}"
        at = at_ms + round(span * number / len(shares))
        lines.append(till.line(made, item, at, micro, check=check, price=price))
    till.unit(lines, _serves(drink, item), why)


def _voided_at(bar: Bar, drink: Drink, at_ms: int) -> int:
    """After the pour and after the ring."""
    end = max(bar.serves[serve - 1].end_ms for serve in drink.serves)
    delay = log_normal(RATES["till"]["rerung_after_min"] * 60_000, 0.6, drink.z[7])
    return max(end, at_ms) + 3_000 + round(delay)


def _void_unpoured(till: Till, made: Round, drink: Drink, at_ms: int, price: float) -> None:
    """Rung once too often, seen, voided: nothing was poured for it."""
    after = log_normal(RATES["till"]["void_unpoured_after_s"] * 1000, 0.6, drink.z[7])
    line = till.line(
        made, drink.item, at_ms, kind="void", voided_ms=at_ms + 1000 + round(after), price=price
    )
    till.unit([line], [None] * len(drink.item.portions), "void")


def _food(till: Till, made: Round, at_ms: int) -> None:
    for number, drink in enumerate(made.drinks):
        if drink.u[18] < RATES["trade"]["food_per_drink"]:
            share = drink.u[18] / RATES["trade"]["food_per_drink"]
            name, price = FOOD[int(share * len(FOOD))]
            till.line(made, Item(name, "", (), price), at_ms + 2000 * number)


def _training(
    bar: Bar, till: Till, day: Day, rounds: Sequence[Round], rng: np.random.Generator
) -> None:
    """Lines rung for practice: the same items, nothing poured."""
    for made, _ in zip(_some(rounds, rng), range(int(rng.poisson(_per_day()))), strict=False):
        at_ms = day.opens_ms + round(float(rng.uniform(0, 3)) * 3_600_000)
        line = till.line(made, made.drinks[0].item, at_ms, kind="training", price=0.0, check="TR")
        till.unit([line], [None] * len(line.portions), "training")


def _some(rounds: Sequence[Round], rng: np.random.Generator) -> Iterable[Round]:
    return (rounds[int(index)] for index in rng.integers(0, max(1, len(rounds)), 20) if rounds)


def _per_day() -> float:
    return float(RATES["till"]["training_per_week"] / 7)


def _price(day: Day, at_ms: int) -> float:
    first, last = RATES["trade"]["happy_hours_after_h"]
    hours = (at_ms - day.start_ms) / 3_600_000
    return float(1 - RATES["trade"]["happy_discount"]) if first <= hours < last else 1.0
