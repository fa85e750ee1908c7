"""How long matching takes, and how much memory, on one core, against a named baseline in the same run.

    PYTHONPATH=daemon:adapters:tests python tests/bench/matching_speed.py [--only year,stadium,growth]

year     a bar with 650,000 pours, 500,000 rings and 12 taps a year: milliseconds a day
stadium  120,000 pours of 12 products in 5 hours at 400 taps: as 30 outlets, and as one
growth   a steady crowd for 1, 2, 4 and 8 times the hours; the exponent is that of seconds by rows

The baseline is SciPy's ``min_weight_full_bipartite_matching`` on 5,000 x 5,000 with 0.9 million edges.
Each part runs in a process of its own; told are seconds of processor and the most memory it held
(``ru_maxrss``; the simulator and the rows themselves included).

Measured on a machine that did nothing else, and whose speed changes by a third from one minute to the next:

    year      172 ms a day of 1,804 pours and 1,302 rings: 64 s a year (wished: 8 s)
    stadium   6.1 s and 166 MB as 30 outlets, 7.3 s and 384 MB as one
    growth    exponent 0.94 at eight times the hours
    baseline  0.085 s

On the same 14 days, one code and the other in turn, three rounds of learning in place of four, and fills and
habits learnt in one step in place of two, take 0.8 of the time and cost no accuracy; two rounds would take an
eighth off and let clean months be wrong by half as much again. A sixth of what is left is SciPy's solver,
whose time goes by the number of rings, not of pairs; the rest is spread over some hundred steps.
"""

from __future__ import annotations

import argparse
import gc
import math
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

ONE_CORE = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL")}
TOGETHER = 4
PARTS = ("baseline", "year", "stadium", "one", "growth")


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--only", default="year,stadium,growth")
    ask.add_argument("--days", type=int, default=14)
    ask.add_argument("--part", choices=PARTS, help="run this part here, not in a process of its own")
    asked = ask.parse_args()
    from unrung.ahead.process import KEPT  # what a backlog is worked off with

    if asked.part:
        run_part(asked.part, asked.days)
        return
    wanted = asked.only.split(",")
    parts = ["baseline", *wanted, *(["one"] if "stadium" in wanted else [])]
    for part in [part for part in PARTS if part in parts]:
        command = [sys.executable, str(Path(__file__).resolve()), "--part", part, "--days", str(asked.days)]
        subprocess.run(command, check=True, env=os.environ | ONE_CORE | KEPT)


def run_part(part: str, days: int) -> None:
    """Measure one part and print it."""
    {"baseline": baseline, "year": lambda: year(days), "stadium": lambda: stadium(30),
     "one": lambda: stadium(1), "growth": growth}[part]()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"{'':<10}peak {peak} MB", flush=True)


def baseline() -> None:
    import numpy as np
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import min_weight_full_bipartite_matching

    size, each = 5_000, 180
    chance = np.random.default_rng(1)
    column = (np.arange(size)[:, None] + np.arange(each)[None, :]) % size
    weight = chance.integers(1, 10_000, column.shape).astype(float)
    graph = csr_array((weight.ravel(), column.ravel(), np.arange(0, size * each + 1, each)), (size, size))
    began = time.process_time()
    min_weight_full_bipartite_matching(graph)
    print(f"baseline  {size:,} x {size:,}, {size * each:,} edges: {time.process_time() - began:.3f} s")


def matched(*outlets: list) -> float:  # type: ignore[type-arg]
    """Make ready and match the days of outlets; the seconds of processor it took. ``TOGETHER`` days are made
    ready together, as when a backlog is worked off."""
    from unrung.matching.match import match_day
    from unrung.matching.prepare import DayRows, prepare_days
    from unrung.matching.types import MatchSettings

    gc.collect()
    gc.freeze()  # what the simulator made is no part of it
    began = time.process_time()
    ready: list[list] = [[None] for _ in outlets]  # type: ignore[type-arg]
    for first in range(0, len(outlets[0]), TOGETHER):
        rows = [DayRows(*day) for days in outlets for day in days[first : first + TOGETHER]]
        made = iter(prepare_days(rows, MatchSettings()))
        for days, found in zip(outlets, ready, strict=True):
            found += [next(made) for _ in days[first : first + TOGETHER]]
    for found in ready:
        for before, today, after in zip(found, found[1:], [*found[2:], None], strict=False):
            match_day(before, today, after)
    return time.process_time() - began


def year(days: int) -> None:
    from matching_days import BUSY_POURS, BUSY_RINGS, busy_bar

    outlets = busy_bar(days)
    matched(outlets[0][:1])
    pours = sum(len(day.pours) for outlet in outlets for day in outlet) / days
    rings = sum(len(day.units) for outlet in outlets for day in outlet) / days
    each = 1_000 * matched(*outlets) / days
    scale = (BUSY_POURS + BUSY_RINGS) / (pours + rings)
    print(f"year      {pours:.0f} pours and {rings:.0f} rings a day: {each:.1f} ms a day; "
          f"650,000 and 500,000 a year: {364 * each * scale / 1_000:.1f} s")


def stadium(outlets: int) -> None:
    from matching_days import crowd, outlets_of

    day = crowd(5, 120_000, 5, 400, 12)
    took = sum(matched([part]) for part in outlets_of(day, outlets))
    print(f"stadium   {len(day.pours):,} pours, {len(day.units):,} rings, {outlets} outlets: {took:.1f} s")


def growth() -> None:
    from matching_days import crowd

    first = 0.0
    matched([crowd(6, 300, 1, 12, 6)])
    for times in (1, 2, 4, 8):
        took = min(matched([crowd(6, 1_000 * times, 3 * times, 12, 6)]) for _ in range(3))
        first = first or took
        power = math.log(took / first) / math.log(times) if times > 1 else 1.0
        print(f"growth    {3 * times} hours, {1_000 * times:,} pours: {took:.3f} s, "
              f"{took / first:.2f} times, exponent {power:.2f}")


if __name__ == "__main__":
    main()
