"""``unrung group``: the command; what it does stands in ``group.spread``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

Say = Callable[[str], None]


def group_command(say: Say) -> click.Command:
    """``unrung group``."""

    folder = click.Path(path_type=Path, file_okay=False)

    @click.command("group")
    @click.argument("lake", type=folder)
    @click.option("--to", required=True, type=folder, help="Folder for the ledgers.")
    @click.option("--workers", type=click.IntRange(1), default=None,
                  help="Processes on this machine; as many as it has cores.")
    @click.option("--scheduler", default="", help="Address of a Dask cluster, in place of this machine.")
    def group(lake: Path, to: Path, workers: int | None, scheduler: str) -> None:
        """Compute the ledgers of many venues anew.

        They are made from what the venues exported to one folder. Each venue's days are computed as its
        own PC does it, with the settings it exported.

        \b
        Example:  unrung group lake --to ledgers --workers 2
        """
        from unrung.group.spread import parts, run

        work = list(parts(lake))
        say(f"{len({part.venue for part in work})} venues, {len(work)} runs of days to make")
        made = run(lake, to, workers=workers, scheduler=scheduler)
        say(f"{made:,} days of ledgers in {to}")

    return group
