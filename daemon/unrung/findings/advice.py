"""What to check first for each finding, how long it takes, and the caution that goes with it.

Common practice of the trade, no source, save for the cautions: the Brewers Association's "Mitigating
Beer Line Cleaning Risks" for cleaner, the OSHA limit for carbon dioxide in a cellar. Local codes and
licensed practice decide.
"""

from __future__ import annotations

from typing import NamedTuple

CELLAR = "In the cellar: a working CO2 alarm, air, not alone; leave if it sounds."
GAS = "Before touching a coupler, detector or meter: gas off, vented. Never force or open a keg."
CLEANER = (
    "Cleaner: gloves, goggles, sign on the tap, never mix chemicals; prove the rinse by test "
    "strip, never by taste."
)
LIFT = "A full keg needs two people or a trolley."
MEASURE = "Never set a portion below the measure sold or the local rule on measure and head."


class Advice(NamedTuple):
    """``minutes`` is what the first check takes."""

    check_first: str
    minutes: int
    caution: str = ""


ADVICE: dict[str, Advice] = {
    "leak": Advice(
        "Look at the faucet while closed: does it drip? Clean or change its seat and washers, then "
        "the couplings behind it.", 5, f"{GAS} {CELLAR}"),
    "meter_calibration": Advice(
        "Pour a measured jug of a litre or more through the tap and compare it with the meter; "
        "correct pulses_per_litre in taps.csv, or have the meter cleaned or changed.", 15, GAS),
    "keg_short_fill": Advice(
        "Weigh the next keg of this beer before it goes on, and compare with a full one; show the "
        "deliverer the dates. Then measure the meter.", 15, f"{CELLAR} {LIFT}"),
    "feed_gap": Advice(
        "See whether the terminal or meter was off, or its export stopped; send the missing file "
        "and the day is issued again.", 10),
    "clock_offset": Advice(
        "Compare the clocks of till and meters with a telephone, and let both set themselves by "
        "the network.", 5),
    "tap_list": Advice(
        "See which keg is coupled to which line, and correct taps.csv from the day on which it "
        "changed.", 10, f"{CELLAR} {GAS}"),
    "portion_setting": Advice(
        "Pour one of these into a measuring jug: correct the portion in menu.csv, or the tap's "
        "program, or the glass.", 10, MEASURE),
    "portion_drift": Advice(
        "Pour a measured glass at the tap: look at pressure, flow control and faucet, which a "
        "cleaning or a keg change may have moved.", 10, f"{GAS} {CELLAR}"),
    "top_ups": Advice(
        "See how the beer comes at this tap: foam from temperature, pressure or a dirty line makes "
        "people top up.", 10, CELLAR),
    "keg_change_loss": Advice(
        "Watch the next keg change: a foam detector that is not reset, a warm keg, or beer run off "
        "by habit.", 10, f"{CELLAR} {GAS}"),
    "unlogged_cleaning": Advice(
        "Ask whether the line was cleaned then, and write it down as a cleaning with its times.",
        5, CLEANER),
    "samples": Advice(
        "Agree how tasters are given and write them down, or put a taster on the menu at no "
        "charge.", 10),
    "wrong_size": Advice(
        "Look at the size buttons and glasses: are they easily mistaken for one another? Then talk "
        "with the team.", 10),
    "mis_ring": Advice(
        "Look at where the two buttons stand on the till, and at the names on the tap handles. "
        "Then talk with the team.", 10),
    "serves_without_ring": Advice(
        "See what ran then: a function, a training, a till that was off, comps that nobody wrote "
        "down. Then talk with the team.", 15),
}
