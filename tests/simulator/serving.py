"""Drinks into vessels: what is poured, how much, in how many flows, and when it is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from simulator.flows import Flow, Serve
from simulator.losses import LossPlan
from simulator.rates import OZ, RATES, between, log_normal, stream
from simulator.trade import Day, Drink, Round
from simulator.venues import BEERS, SIZE_OZ, Item, Line, VenuePlan, products_of, single_items


@dataclass(slots=True)
class Bar:
    """The month while it is being made."""

    seed: int
    venue: VenuePlan
    days: list[Day]
    plan: LossPlan
    swap: tuple[int, int]
    """Span in which two lines are swapped (ms); empty where they are not."""
    serves: list[Serve] = field(default_factory=list)
    flows: dict[str, list[Flow]] = field(default_factory=dict)
    """Wanted flows by meter."""
    habits: dict[str, list[float]] = field(default_factory=dict)
    """The steady habit of each server, by outlet."""
    rates: dict[str, float] = field(default_factory=dict)
    """Flow rate of each line, µL a millisecond."""
    contents: dict[str, float] = field(default_factory=dict)
    """Beer that each line holds, µL."""

    def line_for(self, outlet: str, product: str, day: int, at_ms: int) -> Line:
        """The line that really pours a product at an outlet."""
        listed = next(
            line for line in self.venue.lines
            if line.outlet == outlet and products_of(line, day, len(self.days)) == product
        )
        return self.plan.swapped_line(listed, at_ms, self.swap)

    def new_serve(
        self, label: str, day: int, line: Line, product: str, set_ul: int, goal_ul: float
    ) -> Serve:
        made = Serve(len(self.serves) + 1, label, day, line, product, set_ul, goal_ul)
        self.serves.append(made)
        return made

    def want(self, line: Line, flow: Flow) -> None:
        self.flows[line.meter].append(flow)

    def rate(self, line: Line, z: float) -> float:
        return float(self.rates[line.meter] * max(0.7, 1 + RATES["flow"]["rate_pour_sd"] * z))


def open_bar(seed: int, venue: VenuePlan, days: list[Day], plan: LossPlan) -> Bar:
    """A bar with its meters, habits and swapped lines, before its first day."""
    rng = stream(seed, "venue")
    bar = Bar(seed, venue, days, plan, (0, 0))
    for line in venue.lines:
        bar.flows[line.meter] = []
        share = 1 + RATES["flow"]["rate_tap_sd"] * float(rng.normal())
        bar.contents[line.meter] = float(rng.uniform(*RATES["cleaning"]["line_oz"])) * OZ
        bar.rates[line.meter] = RATES["flow"]["rate"] * OZ / 1000 * min(1.3, max(0.7, share))
    for outlet in sorted(venue.drinks):
        sd = RATES["noise"]["server_sd"]
        bar.habits[outlet] = (sd * rng.normal(size=RATES["noise"]["servers"])).tolist()
    if plan.of("tap_list"):
        day = days[min(plan.swap_day, len(days) - 1)]
        hours = RATES["losses"]["tap_list"]["hours"] * plan.of("tap_list")
        bar.swap = (day.opens_ms - 3_600_000, day.opens_ms - 3_600_000 + round(hours * 3_600_000))
    return bar


def serve_rounds(bar: Bar, rounds: Sequence[Round], menus: dict[str, list[Item]], day: Day) -> None:
    """Decide what each drink becomes, and want its flows at the round's time."""
    for made in rounds:
        at_ms = float(made.pour_ms)
        held: tuple[Drink, Serve, Flow] | None = None
        for drink in made.drinks:
            poured = _decide(bar, made, drink, menus, day)
            for index, (product, portion) in enumerate(poured.portions):
                serve = _vessel(bar, made, drink, index, product, portion, round(at_ms))
                drink.serves.append(serve.id)
                if held and _one_flow(held, drink, serve):
                    held[2].shares.append((serve, serve.goal_ul))
                    at_ms += serve.goal_ul / held[2].rate
                    held = None
                    continue
                flow = _flows(bar, drink, index, serve, round(at_ms))
                held = (drink, serve, flow) if flow.then is None else None
                at_ms += serve.goal_ul / flow.rate + _pause(drink.z[7])


def _decide(
    bar: Bar, made: Round, drink: Drink, menus: dict[str, list[Item]], day: Day
) -> Item:
    """What is rung (``drink.rung_item``) and what is poured (returned)."""
    drink.rung_item = drink.item
    if drink.u[8] < _unrung_share(bar, made, day):
        drink.cause = "serves_without_ring"
        drink.voided_after = drink.u[9] < RATES["losses"]["serves_without_ring"]["voided"]
        drink.rung_item = drink.item if drink.voided_after else None
    elif drink.u[10] < bar.plan.of("mis_ring") * RATES["losses"]["mis_ring"]["share"]:
        other = _other_product(drink, menus[drink.poured_at])
        if other:
            drink.cause, drink.rung_item = "mis_ring", other
    elif drink.u[12] < bar.plan.of("wrong_size") * RATES["losses"]["wrong_size"]["share"]:
        return _larger(drink.item)
    return drink.item


def _unrung_share(bar: Bar, made: Round, day: Day) -> float:
    rates = RATES["losses"]["serves_without_ring"]
    first, last = rates["cluster_after_h"]
    hours = (made.at_ms - day.start_ms) / 3_600_000
    clustered = (
        made.outlet == bar.plan.cluster_outlet
        and day.date.weekday() in rates["cluster_weekdays"]
        and first <= hours < last
    )
    share = rates["cluster_share"] if clustered else rates["share"]
    return float(share * bar.plan.of("serves_without_ring"))


def _other_product(drink: Drink, menu: list[Item]) -> Item | None:
    others = [i for i in menu if i.size and i.size == drink.item.size and i.item != drink.item.item]
    return others[int(drink.u[11] * len(others))] if others else None


def _larger(item: Item) -> Item:
    """The next larger size below a pitcher, or the item itself where there is none."""
    if not item.size:
        return item
    sizes = [i for i in single_items(item.item) if SIZE_OZ[i.size] <= 20]
    larger = [i for i in sizes if SIZE_OZ[i.size] > SIZE_OZ[item.size]]
    return larger[0] if larger else item


def _vessel(
    bar: Bar, made: Round, drink: Drink, index: int, product: str, portion: int, at_ms: int
) -> Serve:
    line = bar.line_for(drink.poured_at, product, made.day, at_ms)
    set_ul = drink.item.portions[index][1]
    habit = bar.habits[made.outlet][int(made.u[2] * len(bar.habits[made.outlet]))]
    noise = habit + RATES["noise"]["portion_sd"] * max(-3.5, min(3.5, drink.z[index]))
    serve = bar.new_serve("serve", made.day, line, product, set_ul, portion * (1 + noise))
    serve.cause = drink.cause
    if portion != set_ul:
        serve.extras["wrong_size"] = portion - set_ul
    _overpour(bar, drink, serve, portion, at_ms)
    serve.goal_ul += sum(ul for cause, ul in serve.extras.items() if cause != "wrong_size")
    return serve


def _overpour(bar: Bar, drink: Drink, serve: Serve, portion: int, at_ms: int) -> None:
    plan, losses = bar.plan, RATES["losses"]
    if plan.of("portion_setting") and (serve.true_product, drink.item.size) == plan.item:
        serve.extras["portion_setting"] = plan.of("portion_setting") * losses["portion_setting"]["oz"] * OZ
    if plan.of("portion_drift") and serve.line is plan.drift:
        if at_ms >= bar.days[plan.drift_day].opens_ms:
            share = losses["portion_drift"]["share"] * plan.of("portion_drift")
            serve.extras["portion_drift"] = share * portion
    if serve.line in plan.topped and drink.u[13] < losses["top_ups"]["share"] * plan.of("top_ups"):
        serve.extras["top_ups"] = losses["top_ups"]["over"] * portion


def _one_flow(held: tuple[Drink, Serve, Flow], drink: Drink, serve: Serve) -> bool:
    """Whether two like glasses are filled without closing the faucet."""
    before, other, flow = held
    return (
        len(drink.item.portions) == 1
        and before.item == drink.item
        and other.line is serve.line
        and len(flow.shares) == 1
        and SIZE_OZ.get(drink.item.size, 99) <= 20
        and "top_ups" not in serve.extras
        and drink.u[7] < RATES["flow"]["long_pour"]
    )


def _flows(bar: Bar, drink: Drink, index: int, serve: Serve, at_ms: int) -> Flow:
    """Want the flow, or the two flows, that fill a vessel."""
    rate = bar.rate(serve.line, drink.z[5])
    first = Flow(at_ms, [(serve, serve.goal_ul)], "serve", rate, drink.z[8 + index % 4])
    cut = _cut(drink, serve)
    if cut:
        share, gap_ms = cut
        first.shares = [(serve, serve.goal_ul * share)]
        rest = Flow(0, [(serve, serve.goal_ul * (1 - share))], "serve", rate, drink.z[6])
        first.then = (gap_ms, rest)
    bar.want(serve.line, first)
    return first


def _cut(drink: Drink, serve: Serve) -> tuple[float, int] | None:
    """(share of the first flow, pause in ms), where a vessel is filled in two goes."""
    flow = RATES["flow"]
    gap = log_normal(flow["top_up_gap_s"], flow["top_up_gap_sigma"], drink.z[4])
    gap_ms = round(1000 * min(flow["top_up_longest_s"], gap))
    size = SIZE_OZ.get(drink.item.size, 0)
    if size == 60 and drink.u[16] < flow["pitcher_two_goes"]:
        return between(flow["pitcher_first"], drink.u[17]), gap_ms
    if "top_ups" in serve.extras:
        return 1 - between(flow["top_up_share"], drink.u[15]), gap_ms
    if BEERS[serve.true_product].settles and size >= 10 and drink.u[16] < flow["stout_two_goes"]:
        settle = log_normal(flow["stout_gap_s"], 0.2, drink.z[4])
        return between(flow["stout_first"], drink.u[17]), round(settle * 1000)
    if size >= 10 and drink.u[14] < flow["topped_up"]:
        return 1 - between(flow["top_up_share"], drink.u[15]), gap_ms
    if drink.u[14] > 1 - flow["leaves_tap"]:
        return between((0.2, 0.8), drink.u[15]), 600 + round(1300 * drink.u[17])
    return None


def _pause(z: float) -> float:
    flow = RATES["flow"]
    return 1000 * log_normal(flow["between_pours_s"], flow["between_pours_sigma"], z)
