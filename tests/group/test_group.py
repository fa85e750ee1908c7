"""Many venues on several processes give what one process gives, and what each venue's own PC issued."""

from __future__ import annotations

import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from group.lakes import small_venue, write_lake
from unrung.errors import UnrungError
from unrung.group import spread
from unrung.group.days import ledgers
from unrung.parquet.layout import days, venue_key

if TYPE_CHECKING:
    from distributed import LocalCluster

VENUES, DAYS = 20, 2
"""Four venues of each zone; ``tests/bench/group.py`` does the same with fifty over 30 days."""


def tree(root: Path) -> dict[str, bytes]:
    files = (path for path in sorted(root.rglob("*")) if path.is_file())
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def lake(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("lake")
    write_lake(root, VENUES, DAYS, pours=8)
    return root


@pytest.fixture(scope="module")
def alone(lake: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The ledgers as one process makes them, venue by venue and each from its first day to its last."""
    to = tmp_path_factory.mktemp("alone")
    for part in spread.parts(lake, days_per_task=1_000_000):
        spread.write_part(lake, to, part)
    return tree(to)


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as found:
        yield found


def test_a_cluster_of_processes_makes_the_ledgers_that_one_process_makes(
    lake: Path, alone: dict[str, bytes], cluster: LocalCluster, tmp_path: Path
) -> None:
    assert spread.run(lake, tmp_path, scheduler=cluster.scheduler_address) == VENUES * DAYS
    assert len(alone) == VENUES * DAYS
    assert tree(tmp_path) == alone


def test_how_the_days_are_cut_into_tasks_changes_no_ledger(
    lake: Path, alone: dict[str, bytes], tmp_path: Path
) -> None:
    """A task of a single day knows its neighbours from their partitions alone."""
    ours = venue_key(small_venue(2).venue.name)
    for part in spread.parts(lake, days_per_task=1):
        if part.venue == small_venue(2).venue.name:
            spread.write_part(lake, tmp_path, part)
    assert tree(tmp_path) == {name: data for name, data in alone.items() if ours in name}


def test_a_ring_just_past_the_edge_is_paired_with_its_pour(lake: Path) -> None:
    """So that the tests above see neighbours at work: each day's last pour is rung on the next day."""
    name = small_venue(0).venue.name
    known = days(lake, "movements", name)
    lonely = [next(ledgers(lake, name, day, day)) for day in known]
    assert lonely == list(ledgers(lake, name, known[0], known[-1]))
    carried = [sum(row.carried_out for row in ledger.till) for ledger in lonely]
    assert carried[0] == 0 and min(carried[1:]) >= 1_000_000


def test_a_folder_without_an_export_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnrungError, match="holds no exported venue"):
        spread.run(tmp_path, tmp_path / "out")


def test_a_cluster_that_is_not_there_is_told_with_its_address(lake: Path, tmp_path: Path) -> None:
    import dask

    with socket.create_server(("127.0.0.1", 0)) as free:
        there = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    with dask.config.set({"distributed.comm.timeouts.connect": "1s"}):
        with pytest.raises(UnrungError, match=f"the Dask scheduler {there} cannot be reached"):
            spread.run(lake, tmp_path, scheduler=there)


@pytest.mark.parametrize(("library", "extra"), [("dask", "group"), ("pyarrow", "parquet")])
def test_a_missing_library_is_named_with_what_to_install(
    library: str, extra: str, lake: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(UnrungError, match=rf"unrung\[{extra}\]"):
        spread.run(lake, tmp_path)
