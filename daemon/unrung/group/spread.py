"""Many venues and days as Dask tasks: the only importer of Dask.

A task is one venue and a run of its days. It reads their partitions, writes its ledgers beside each
other as the export does, and returns how many days it made. Dask decides where and when it runs; since a
task is a pure function of files, one that is run twice writes the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

from unrung.errors import ConfigError, UnrungError
from unrung.group.days import ledgers
from unrung.ledger.results import DayLedger
from unrung.parquet.export import write_file
from unrung.parquet.files import Row, require_pyarrow, to_bytes
from unrung.parquet.layout import FILE, day_folder, days, venues
from unrung.store.days import leaf_values

DAYS_PER_TASK = 14
"""Each task also reads two days before and after its own: longer runs read less twice."""


class Part(NamedTuple):
    """What one task makes: the ledgers of a venue from ``first`` to ``last``."""

    venue: str
    first: date
    last: date


def parts(root: Path, days_per_task: int = DAYS_PER_TASK) -> Iterator[Part]:
    """Every exported venue's days, cut into runs of ``days_per_task`` calendar days."""
    for venue in venues(root):
        known = days(root, "movements", venue)
        for _, run in groupby(known, key=lambda day: day.toordinal() // days_per_task):
            among = list(run)
            yield Part(venue, among[0], among[-1])


def write_part(root: Path, to: Path, part: Part) -> int:
    """Make and write the ledgers of one part; returns how many days. Runs anywhere that sees both folders."""
    made = 0
    for ledger in ledgers(root, *part):
        folder = day_folder(to, "leaves", part.venue, ledger.day)
        write_file(folder, FILE, to_bytes("leaves", rows_of(ledger)))
        made += 1
    return made


def rows_of(ledger: DayLedger) -> list[Row]:
    """A ledger's leaves as an export of the store has them."""
    return [{**leaf_values(ledger.day, leaf), "status": ledger.status} for leaf in ledger.leaves]


def tasks(root: Path, to: Path, days_per_task: int = DAYS_PER_TASK) -> Sequence[Any]:
    """The work as ``dask.delayed`` values, for ``dask.compute`` on any scheduler.

    Raises UnrungError where Dask or pyarrow is missing, ConfigError where ``root`` holds no export.
    """
    require_pyarrow()
    delayed = _dask().delayed(write_part, pure=False)
    made = [delayed(root, to, part) for part in parts(root, days_per_task)]
    if not made:
        raise ConfigError([f"{root} holds no exported venue: run unrung export CONFIG --to {root} first."])
    return made


def run(root: Path, to: Path, *, workers: int | None = None, scheduler: str = "") -> int:
    """Make every ledger of the export in ``root`` and write it below ``to``; returns how many days.

    With ``workers`` processes of this machine (None: as many as it has cores), or on the cluster whose
    ``scheduler`` address is given; its workers must see both folders under the same names.
    """
    work = tasks(root.resolve(), to.resolve())
    if not scheduler:
        return sum(_dask().compute(*work, scheduler="processes", num_workers=workers))
    from distributed import Client

    try:
        client: Any = Client(scheduler)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise UnrungError(
            f"the Dask scheduler {scheduler} cannot be reached: {error or type(error).__name__}. Does it "
            "run, and is its address like tcp://10.0.0.5:8786?"
        ) from error
    with client:
        return sum(client.gather(client.compute(list(work))))


def _dask() -> Any:
    try:
        import dask
    except ImportError as error:
        raise UnrungError(
            "Work over many venues needs Dask, which is not installed. Install it beside Unrung: "
            'python -m pip install "dask[distributed]" (or unrung[group]).'
        ) from error
    return dask
