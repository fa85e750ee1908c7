"""How right the findings are: a table of precision, recall and explained volume per cause.

    python tests/bench/findings_accuracy.py [--months N] [--every K] [--only CAUSE] [--first SEED]
        [--keep FOLDER] [--verbose]

Simulated months (``tests/simulator``): each cause alone at strengths from faint to gross, all causes
together, and clean months. Every ``K``-th day (all of them by default, always all of a clean month)
is judged with what its last 28 days showed, as it would be issued; what was raised on any day counts.
With ``K`` above 1 what is over within a day or two (a silent feed, a cleaning) is missed by not looking.

    owed       places at which a cause cost at least 1 % of the tap's (or outlet's) beer
    recall     share of them that were raised
    precision  share of what was raised, in all months, that a cause was behind; a finding of low
               confidence, which says that another reading fits as well, is right where that one is;
               a ``portion_setting`` also at a tap whose drift began before the 28 days that are seen
    volume     beer that the findings say was lost since they began over what was, in those places,
               within the same days: all together, and how many places lie within 15 %
    false      raised in a clean month

Measured with 20 months a cause, 20 of all causes and 20 clean ones (340; every day). Those from 300,000 up
(``--first``) served for tuning. Of these here one earlier run each told that ``wrong_size`` (0.84) and
``feed_gap`` (0.85) were not precise enough; what was then changed was found and tried on the others:

    cause                   owed  recall  raised precision  volume  within 15 %
    leak                      35    1.00      40      1.00    0.99     35 of 35
    meter_calibration         40    0.90      41      0.90    0.96     27 of 36
    keg_short_fill            45    1.00      48      0.94    0.98     41 of 45
    feed_gap                  53    0.96      57      0.98    1.00     31 of 32
    clock_offset              40    0.95      39      0.97       -            -
    tap_list                  77    1.00      78      1.00    1.00     72 of 77
    portion_setting           41    0.98      43      1.00    0.89     35 of 40
    portion_drift             37    0.92      35      0.97    1.00     30 of 34
    top_ups                   62    1.00      74      0.97    0.91     46 of 62
    keg_change_loss          219    1.00     242      0.99    0.94   175 of 218
    unlogged_cleaning         14    1.00      94      0.98    0.98     13 of 14
    samples                    1    1.00      53      0.94    0.91       1 of 1
    wrong_size                 0       -      44      0.98       -            -
    mis_ring                  28    1.00      58      0.97    0.87     23 of 28
    serves_without_ring       46    0.96      50      0.96    0.94     41 of 44
    all                      738    0.98     996      0.98    false: 0.00 a month

After them matching gave single rings less again; 73 of these months (two causes, clean ones, and 13 of all
causes) were then made anew: no cause's recall moved, no precision fell, and volumes moved by 0.02 at most.

That is what is wished (recall 0.85, precision 0.9, volume within 15 % of the truth, at most one false finding
a clean month), ``meter_calibration`` by a hair: missed are three meters that were 1.2 % off and one that was
2.4 %; of the four false ones two say 1.5 % of a meter that was right, and two, of low confidence, speak of a
first few days. All causes' volumes lie within 15 % together; single places that do not are mostly those of
the busiest venue or of months with every cause: ``top_ups`` (said a fifth too low at busy taps),
``mis_ring``, ``keg_change_loss``, and a ``portion_setting`` of three ounces on a pint, half of which was
taken for larger sizes poured and for serves without a ring.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), *(
    str(Path(__file__).resolve().parents[2] / part) for part in ("daemon", "adapters"))]

from bench.findings_truth import AT_PRODUCTS, AT_TAPS, Place, Truth, truth_of  # noqa: E402
from findings.months import ledgers, settings_of  # noqa: E402
from simulator import LOSSES, simulate  # noqa: E402
from unrung.finding_names import SHOWN  # noqa: E402
from unrung.findings.facts import Facts  # noqa: E402
from unrung.findings.finding import Finding, rows_of  # noqa: E402
from unrung.findings.table import findings_of  # noqa: E402
from unrung.ledger.facts import DayFacts  # noqa: E402
from unrung.settings import Settings  # noqa: E402

STRENGTHS = (0.25, 0.5, 1.0, 2.0, 3.0)
VENUES = ("small", "standard", "late", "dining", "rush")
RIVALS = {
    "meter_calibration": ("portion_setting", "portion_drift"),
    "portion_setting": ("meter_calibration", "portion_drift"),
    "portion_drift": ("portion_setting", "meter_calibration"),
}
"""Readings that a finding of low confidence names as well."""


@dataclass
class Score:
    """Counts of one cause over many months."""

    owed: int = 0
    found: int = 0
    raised: int = 0
    right: int = 0
    said_ul: int = 0
    true_ul: int = 0
    near: int = 0
    compared: int = 0


@dataclass
class Board:
    """Scores by cause, and what clean months raised."""

    scores: dict[str, Score] = field(default_factory=lambda: defaultdict(Score))
    clean_months: int = 0
    false: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    off: list[str] = field(default_factory=list)
    """Volumes said that are not within 15 %."""


@dataclass
class Raised:
    """A finding at a place: the last day on which it was raised, and what it said then."""

    day: int
    found: Finding
    total_ul: int


def raised_in(days: list[DayFacts], settings: Settings, every: int) -> dict[Place, Raised]:
    """All that is raised on the judged days."""
    kept: dict[Place, Raised] = {}
    chosen = sorted({*range(0, len(days), every), len(days) - 1})
    for index in chosen:
        facts, found = findings_of(days[max(0, index - 27) : index + 1], settings)
        totals: dict[Place, int] = defaultdict(int)
        for one in found:
            totals[place_of(one)] += cost_of(one, facts)
        for one in found:
            if rows_of(one, facts):
                kept[place_of(one)] = Raised(index, one, totals[place_of(one)])
    return kept


def cost_of(found: Finding, facts: Facts) -> int:
    """What a finding says was lost since it began; what was over before the judged day counts too."""
    if found.total_ul is not None:
        return found.total_ul
    return sum(found.serves.values()) - sum(facts.rings[key].portion_ul for key in found.rings)


def place_of(found: Finding) -> Place:
    """Where the truth keeps what a finding names."""
    if found.finding == "feed_gap":
        return found.finding, f"from {found.first_ms}"
    if found.finding in AT_TAPS:
        return found.finding, found.tap
    if found.finding in AT_PRODUCTS:
        return found.finding, f"{found.outlet}/{found.product}"
    return found.finding, "" if found.finding == "clock_offset" else found.outlet


def enter(board: Board, name: str, truth: Truth, raised: dict[Place, Raised]) -> None:
    """One month into the scores."""
    _name_gaps(truth, raised)
    for place in truth.owed():
        score = board.scores[place[0]]
        score.owed += 1
        score.found += place in raised
        if place not in raised:
            board.missed.append(f"{name}: {place} {100 * truth.share(place):.1f} %")
    for place, one in raised.items():
        score = board.scores[place[0]]
        score.raised += 1
        right = _is_right(truth, place, one)
        score.right += right
        if not right:
            board.wrong.append(f"{name}: {one.found.confidence} {place} day {one.day}: {one.found.evidence}")
        elif place in truth.owed() and truth.lost[place].whole:
            _volumes(board, name, truth, place, one)


def _name_gaps(truth: Truth, raised: dict[Place, Raised]) -> None:
    """A silence is found where its time is, whatever the finding calls its place."""
    for place, (low, high) in truth.spans.items():
        for other, one in list(raised.items()):
            if other[0] == "feed_gap" and low < one.found.last_ms and one.found.first_ms < high:
                raised.setdefault(place, raised.pop(other))
                break


def _is_right(truth: Truth, place: Place, one: Raised) -> bool:
    if place in truth.lost:
        return True
    if place[0] == "portion_setting" and _drifted_long_ago(truth, one):
        return True
    others = RIVALS.get(place[0], ()) if one.found.confidence == "low" else ()
    where = {place[1], one.found.tap, f"{one.found.outlet}/{one.found.product}"}
    return any((other, spot) in truth.lost for other in others for spot in where)


def _drifted_long_ago(truth: Truth, one: Raised) -> bool:
    """Whether the tap's drift began before all that the finding saw: what it sees is a steady difference."""
    drift = truth.lost.get(("portion_drift", one.found.tap))
    return drift is not None and min(drift.by_day, default=one.day) <= max(0, one.day - 27)


def _volumes(board: Board, name: str, truth: Truth, place: Place, one: Raised) -> None:
    score, true = board.scores[place[0]], truth.lost[place].between(one.day - 27, one.day)
    if true:
        score.said_ul += abs(one.total_ul)
        score.true_ul += true
        score.compared += 1
        near = abs(abs(one.total_ul) - true) <= 0.15 * true
        score.near += near
        if not near:
            said = f"{abs(one.total_ul) / 1e6:.1f} L of {true / 1e6:.1f} L"
            board.off.append(f"{name}: {place} day {one.day}: {said}: {one.found.evidence}")


Month = tuple[Truth, list[DayFacts], Settings]


def month_of(
    seed: int, venue: str, losses: dict[str, float] | str, second: bool, drift: bool
) -> Month:
    """A month's truth, and its days' facts through matching and ledger."""
    month = simulate(
        seed, days=30, venue=venue, losses=losses, lag_family="second" if second else "counter_table",
        clock="drift" if drift else "steady",
    )
    settings = settings_of(month)
    days = [ledger.facts for ledger in ledgers(month, settings) if ledger.facts]
    return truth_of(month), days, settings


def kept(folder: Path | None, seed: int, make: Callable[[], Month]) -> Month:
    """A month as the folder keeps it, else made and kept there."""
    if folder is None:
        return make()
    path = folder / f"{seed}.pickle"
    if not path.exists():
        part = path.with_suffix(".part")
        part.write_bytes(pickle.dumps(make()))
        part.rename(path)
    month: Month = pickle.loads(path.read_bytes())
    return month


def plan(months: int, only: str) -> list[tuple[str, int, str, dict[str, float] | str, bool, bool]]:
    """(name, seed, venue, losses, lag family, clock) of every month."""
    made: list[tuple[str, int, str, dict[str, float] | str, bool, bool]] = []
    for number, cause in enumerate(LOSSES):
        for at in range(months if only in ("", cause) else 0):
            seed, venue = 1000 * (number + 1) + at, VENUES[(at // len(STRENGTHS) + at) % len(VENUES)]
            strength = STRENGTHS[at % len(STRENGTHS)]
            made.append((f"{cause} {strength}", seed, venue, {cause: strength}, at % 2 == 1, at % 3 == 1))
    for at in range(months if only in ("", "all") else 0):
        made.append(("all", 50_000 + at, VENUES[at % 5], "all", at % 2 == 1, at % 3 == 1))
    for at in range(months if only in ("", "none") else 0):
        made.append(("none", 60_000 + at, VENUES[at % 5], "none", at % 2 == 1, at % 3 == 1))
    return made


def show(board: Board) -> None:
    print(f"{'cause':<22}{'owed':>6}{'recall':>8}{'raised':>8}{'precision':>10}{'volume':>8}"
          f"{'within 15 %':>13}")
    for cause in SHOWN:
        score = board.scores[cause]
        recall = f"{score.found / score.owed:.2f}" if score.owed else "-"
        precision = f"{score.right / score.raised:.2f}" if score.raised else "-"
        volume = f"{score.said_ul / score.true_ul:.2f}" if score.true_ul else "-"
        near = f"{score.near} of {score.compared}" if score.compared else "-"
        print(f"{cause:<22}{score.owed:>6}{recall:>8}{score.raised:>8}{precision:>10}{volume:>8}{near:>13}")
    whole = board.scores.values()
    owed, found = sum(s.owed for s in whole), sum(s.found for s in whole)
    raised, right = sum(s.raised for s in whole), sum(s.right for s in whole)
    print(f"{'all':<22}{owed:>6}{found / max(1, owed):>8.2f}{raised:>8}{right / max(1, raised):>10.2f}")
    if board.clean_months:
        print(f"false in a clean venue-month: {len(board.false) / board.clean_months:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--months", type=int, default=20)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("--first", type=int, default=0, help="added to every seed: other months to tune on")
    parser.add_argument("--keep", type=Path, help="folder of months through matching, to judge them again")
    asked = parser.parse_args()
    board, start = Board(), time.monotonic()
    for name, own, venue, losses, second, drift in plan(asked.months, asked.only):
        seed = own + asked.first
        truth, days, settings = kept(
            asked.keep, seed, partial(month_of, seed, venue, losses, second, drift))
        raised = raised_in(days, settings, 1 if name == "none" else asked.every)
        label = f"{name} {venue} {seed}"
        if name == "none":
            board.clean_months += 1
            board.false += [f"{label}: {one.found.evidence}" for one in raised.values()]
        enter(board, label, truth, raised)
    show(board)
    print(f"{time.monotonic() - start:.0f} s")
    if asked.verbose:
        print(*(f"missed {line}" for line in board.missed), sep="\n")
        print(*(f"wrong {line}" for line in board.wrong), sep="\n")
        print(*(f"off {line}" for line in board.off), sep="\n")


if __name__ == "__main__":
    main()
