"""Ledgers of a group of venues, on one process and on two: 50 small venues over 30 days.

    python tests/bench/group.py [--venues 50] [--days 30] [--pours 120] [--workers 1,2]

Told are seconds by the clock for each number of worker processes, with the start of Dask and of the
processes in them, and whether the ledgers are the same to the byte.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from group.lakes import write_lake
from unrung.group import spread


def main() -> None:
    args = _arguments()
    with tempfile.TemporaryDirectory(prefix="group") as temporary:
        lake = Path(temporary) / "lake"
        write_lake(lake, args.venues, args.days, args.pours)
        seen, first = set(), 0.0
        for workers in map(int, args.workers.split(",")):
            to = Path(temporary) / f"ledgers-{workers}"
            start = time.monotonic()
            made = spread.run(lake, to, workers=workers)
            took = time.monotonic() - start
            first = first or took
            seen.add(_digest(to))
            print(f"{made:,} days of {args.venues} venues, {workers} workers: {took:.1f} s, "
                  f"{made / took:.1f} days a second, {first / took:.2f} times the first", flush=True)
        if len(seen) > 1:
            raise SystemExit("the ledgers differ")
        print("the same bytes each time")


def _digest(root: Path) -> str:
    whole = hashlib.sha256()
    for path in sorted(root.rglob("*.parquet")):
        whole.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return whole.hexdigest()


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    for name, default in (("--venues", 50), ("--days", 30), ("--pours", 120)):
        parser.add_argument(name, type=int, default=default)
    parser.add_argument("--workers", default="1,2", help="numbers of processes, one after the other")
    return parser.parse_args()


if __name__ == "__main__":
    main()
