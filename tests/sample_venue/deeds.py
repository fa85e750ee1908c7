"""What can happen at a bar besides the ordinary: each with its label, so that the truth is known.

Every deed takes the bar, the time, and then whom it concerns.
"""

from __future__ import annotations

from sample_venue.bar import Bar, Line, LogRow, Pour, Status
from sample_venue.place import (
    BITTER,
    FLIGHT,
    HALVES,
    LONG,
    MILD,
    OUNCE,
    PINT,
    PITCHER,
    SHIRT,
    SMALL,
    SNIFTER,
    SNIFTER_OZ,
    TAPS,
    UNKNOWN_TAP,
    Tap,
    item,
    oz,
    tap_of,
)


def sold(bar: Bar, at: int, outlet: str, product: str, size: str = PINT, *, units: int = 1,
         status: Status = "", cents: int | None = None) -> Line:
    """An ordinary sale, told because of what becomes of its line."""
    ounces, pours, tap = item(product, size).portions[0][1], list[Pour](), tap_of(outlet, product)
    for _ in range(units):
        pours.append(bar.fill(tap, pours[-1].end + 8 if pours else at, ounces))
    line = bar.ring(pours[-1].end + 20, outlet, item(product, size), units=units, status=status,
                    cents=cents)
    for pour in pours:
        bar.serve([pour], ounces, "rung", (line,))
    return line


def comp(bar: Bar, at: int, outlet: str, product: str, units: int = 1) -> None:
    sold(bar, at, outlet, product, units=units, status="COMP", cents=0)


def lone(bar: Bar, at: int, outlet: str, product: str, ounces: int = 16, note: str = "") -> None:
    """Poured, and never rung."""
    bar.serve([bar.fill(tap_of(outlet, product), at, ounces)], ounces, "lone", note=note)


def taster(bar: Bar, at: int, outlet: str, product: str) -> None:
    pour = bar.flow(tap_of(outlet, product), at, bar.dice.between(1.5, 2.3))
    bar.serve([pour], 0, "lone", note="taster")


def rung_only(bar: Bar, at: int, outlet: str, product: str) -> None:
    """Rung, and never poured."""
    line = bar.ring(at, outlet, item(product))
    bar.book_unpoured(line)


def void_before(bar: Bar, at: int, outlet: str, product: str) -> None:
    bar.ring(at, outlet, item(product), status="VOID").void_at = at + 35


def void_before_negative(bar: Bar, at: int, outlet: str, product: str) -> None:
    taken_back = bar.ring(at, outlet, item(product))
    take_back(bar, at + 80, taken_back)


def take_back(bar: Bar, at: int, line: Line) -> None:
    back = bar.ring(at, line.outlet, line.item, units=-1, check=line.check,
                    terminal=line.terminal, status="VOID")
    back.takes_back = line


def void_after(bar: Bar, at: int, outlet: str, product: str, *, negative: bool = False) -> None:
    """Poured and rung; the line is voided six minutes later."""
    line = sold(bar, at, outlet, product, status="" if negative else "VOID")
    bar.week.serves[-1].fate = "voided"
    if negative:
        take_back(bar, line.at + 370, line)
    else:
        line.void_at = line.at + 370


def refund(bar: Bar, at: int, outlet: str, product: str) -> None:
    """Money back half an hour later for a glass that was poured and drunk."""
    line = sold(bar, at, outlet, product)
    bar.ring(at + 1800, outlet, line.item, status="REFUND", cents=-line.cents)


def training(bar: Bar, at: int, outlet: str, product: str, units: int = 1) -> None:
    bar.ring(at, outlet, item(product), units=units, status="TRAINING")


def pitcher_in_two(bar: Bar, at: int, outlet: str, product: str) -> None:
    tap = tap_of(outlet, product)
    first = bar.flow(tap, at, 38 + bar.dice.between(-.4, .4))
    second = bar.flow(tap, first.end + 22, 22 + bar.dice.between(-.4, .4))
    line = bar.ring(second.end + 15, outlet, item(product, PITCHER))
    bar.serve([first, second], 60, "rung", (line,), "two goes")


def top_up(bar: Bar, at: int, outlet: str, product: str) -> None:
    tap = tap_of(outlet, product)
    first = bar.flow(tap, at, bar.dice.between(14.1, 14.5))
    second = bar.flow(tap, first.end + 10, bar.dice.between(1.5, 1.8))
    line = bar.ring(second.end + 18, outlet, item(product))
    bar.serve([first, second], 16, "rung", (line,), "top-up")


def long_pour(bar: Bar, at: int, outlet: str, product: str) -> None:
    """Two pints side by side under one run of the tap."""
    pour = bar.flow(tap_of(outlet, product), at, 32 * (1 + bar.dice.hand(0.015)))
    line = bar.ring(pour.end + 12, outlet, item(product), units=2)
    for share in (pour.ul // 2, pour.ul - pour.ul // 2):
        serve = bar.serve([pour], 16, "rung", (line,), "long pour")
        serve.shares = [(pour, share)]


def mixed(bar: Bar, at: int, what: str) -> None:
    """A flight of four, or a half-and-half: one unit of several beers."""
    chosen = FLIGHT if what == "flight" else HALVES
    pours = []
    for product, ounces in chosen.portions:
        pours.append(bar.fill(tap_of(LONG, product), at, ounces))
        at = pours[-1].end + 5
    line = bar.ring(at + 10, LONG, chosen)
    for pour, (_, ounces) in zip(pours, chosen.portions, strict=True):
        bar.serve([pour], ounces, "rung", (line,), what)


def split(bar: Bar, at: int, outlet: str, product: str, parts: tuple[float, ...]) -> None:
    """One glass on several checks; the parts add up to one unit, and the cents to its price."""
    pour = bar.fill(tap_of(outlet, product), at, 16)
    chosen, terminal, left = item(product), bar.terminal(outlet), item(product).cents
    lines = []
    for nth, part in enumerate(parts):
        cents = left if nth == len(parts) - 1 else round(chosen.cents * part)
        left -= cents
        lines.append(bar.ring(pour.end + 25, outlet, chosen, units=part, terminal=terminal,
                              cents=cents))
    bar.serve([pour], 16, "rung", tuple(lines), "split check")


def wrong_size(bar: Bar, at: int, outlet: str, product: str) -> None:
    """A pint goes over the bar, a small one is rung."""
    pour = bar.fill(tap_of(outlet, product), at, 16)
    line = bar.ring(pour.end + 16, outlet, item(product, SMALL))
    bar.serve([pour], 10, "rung", (line,), "wrong size")


def mis_ring(bar: Bar, at: int, outlet: str, poured: str, rung: str) -> None:
    lone(bar, at, outlet, poured, note="mis-ring")
    rung_only(bar, at + 25, outlet, rung)
    bar.week.serves[-1].note = "mis-ring"


def snifter(bar: Bar, at: int) -> None:
    lone(bar, at, LONG, BITTER, SNIFTER_OZ, note="unlisted item")
    bar.ring(at + 18, LONG, SNIFTER)


def shirt(bar: Bar, at: int) -> None:
    bar.ring(at, LONG, SHIRT)


def unknown_tap(bar: Bar, at: int) -> None:
    tap = Tap(UNKNOWN_TAP, "", "", True, 0, 0)
    bar.week.pours.append(Pour(tap, at, at + 8, round(15.8 * OUNCE / 100) * 100, "unknown_tap"))


def cleaning(bar: Bar, at: int, tap_name: str) -> None:
    """Line clean of half an hour before opening: beer first, then cleaner and water."""
    tap = next(t for t in TAPS if t.name == tap_name)
    pours = [
        bar.flow(tap, at + after, bar.dice.between(low, low + 6), speed=2.2, label="cleaning")
        for after, low in ((180, 56), (840, 40), (1380, 62))
    ]
    bar.week.log.append(LogRow(
        at + 2100, "Line clean", tap.outlet, tap.product, at, at + 2100, tap.name, pours=pours,
    ))


def noted(bar: Bar, at: int, outlet: str, product: str, reason: str, ounces: tuple[float, ...],
          said: str, *, after: int = 420, gap: int = 150, tap: bool = False) -> None:
    """Poured without a ring and written down a little later, as one entry."""
    where, pours, clock = tap_of(outlet, product), list[Pour](), at
    for amount in ounces:
        pours.append(bar.flow(where, clock, amount * (1 + bar.dice.hand(0.012))))
        bar.serve([pours[-1]], 0, "log", note=reason)
        clock = pours[-1].end + gap
    at_minute = (clock + after) // 60 * 60
    bar.week.log.append(LogRow(
        at_minute, reason, outlet, product, at_minute, tap=where.name if tap else "",
        ounces=said, said_ul=oz(float(said)), pours=pours,
    ))


def tasters_noted(bar: Bar, at: int, outlet: str, product: str) -> None:
    """Two equal rows of the sheet that are two tasters, not one row twice."""
    for nth in (0, 1):
        noted(bar, at + nth * 95, outlet, product, "Taster", (1.95,), "2", after=200 - nth * 95,
              gap=0)
    first, second = bar.week.log[-2:]
    second.at = second.written = first.written


def noted_for_nothing(bar: Bar, at: int, outlet: str, product: str, reason: str) -> None:
    """Written down, though no such pour ran."""
    bar.week.log.append(LogRow(at, reason, outlet, product, at, ounces="16", said_ul=oz(16)))


def day_only(bar: Bar, at: int) -> None:
    """"3 pints, Friday": the last of the three has just been poured."""
    lone(bar, at, LONG, MILD)
    pours = [
        s.shares[0][0] for s in bar.week.serves
        if s.fate == "lone" and s.product == MILD and at - 12 * 3600 < s.at
    ]
    _log_fate(bar, pours)
    bar.week.log.append(LogRow(
        at + 900, "Staff drink", LONG, item=MILD, count=3, said_ul=3 * oz(16), pours=pours,
    ))


def _log_fate(bar: Bar, pours: list[Pour]) -> None:
    for serve in bar.week.serves:
        if any(pour in pours for pour, _ in serve.shares):
            serve.fate, serve.note = "log", "Staff drink"
