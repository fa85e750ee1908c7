"""What the service costs while nothing happens: its share of a processor, and the memory it holds.

    python tests/bench/idle.py [--minutes 10] [--days 7]

A config folder whose few days are issued; then ``unrung run``, left alone. The first minute, in which it
starts and looks around, is told apart.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psutil
from year_files import make_year

SETTLED_SECONDS = 60.0


def main() -> None:
    args = _arguments()
    with tempfile.TemporaryDirectory(prefix="idle") as temporary:
        folder = Path(temporary) / "bar"
        _make(folder, args.days)
        service = subprocess.Popen([sys.executable, "-m", "unrung", "run", str(folder)],
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _watch(psutil.Process(service.pid), args.minutes * 60)
        finally:
            service.terminate()
            service.wait(30)


def _make(folder: Path, days: int) -> None:
    """Days up to yesterday's business day, taken in and issued as an installer would."""
    make_year(folder, days, datetime.now(UTC).date() - timedelta(days=days + 1))
    done = subprocess.run([sys.executable, "-m", "unrung", "catch-up", str(folder)], check=False)
    if done.returncode:
        raise SystemExit("the days could not be issued")


def _watch(service: psutil.Process, seconds: float) -> None:
    time.sleep(SETTLED_SECONDS)
    first = _spent(service)
    print(f"first minute: {first:.2f} s of processor", flush=True)
    most, began = 0.0, time.monotonic()
    while time.monotonic() - began < seconds:
        time.sleep(5)
        most = max(most, _held(service))
    took, spent = time.monotonic() - began, _spent(service) - first
    print(f"then {took / 60:.1f} minutes: {spent:.2f} s of processor, {100 * spent / took:.3f} % of one; "
          f"at most {most:.0f} MB held", flush=True)


def _spent(service: psutil.Process) -> float:
    """Seconds of processor, its child processes included."""
    own = service.cpu_times()
    return own.user + own.system + own.children_user + own.children_system + sum(
        child.cpu_times().user + child.cpu_times().system for child in service.children(recursive=True))


def _held(service: psutil.Process) -> float:
    """Megabytes in memory now, of the service and its child processes."""
    return sum(one.memory_info().rss for one in (service, *service.children(recursive=True))) / 1e6


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--days", type=int, default=7, help="days that were taken in before")
    return parser.parse_args()


if __name__ == "__main__":
    main()
