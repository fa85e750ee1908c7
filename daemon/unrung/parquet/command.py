"""``unrung export``: the command; what it does stands in ``parquet.export``."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import click

Say = Callable[[str], None]
DAY = click.DateTime(["%Y-%m-%d"])


def export_command(say: Say) -> click.Command:
    """``unrung export``."""

    @click.command("export")
    @click.argument("config", type=click.Path(path_type=Path))
    @click.option("--to", "folder", required=True, type=click.Path(path_type=Path, file_okay=False),
                  help="Folder for the files; several venues may share one.")
    @click.option("--from", "first", type=DAY, default=None, metavar="DATE",
                  help="First business day; else all.")
    @click.option("--through", "last", type=DAY, default=None, metavar="DATE",
                  help="Last business day; else all.")
    def export(config: Path, folder: Path, first: datetime | None, last: datetime | None) -> None:
        """Write movements and ledger leaves as Parquet files.

        There is a folder per venue and business day. The store is only read, also while the service runs.
        Names of staff are left out unless the venue keeps them.

        \b
        Example:  unrung export my-bar --to lake
        """
        from unrung.opening import look_at_venue
        from unrung.parquet.export import export as write

        if first and last and first > last:
            raise click.UsageError("--from is a day after --through")
        settings, db = look_at_venue(config, time.time_ns() // 1_000_000)

        def tell(day: date) -> None:
            if day.day == 1:
                say(f"up to {day.isoformat()}")

        done = write(db, settings, folder, first and first.date(), last and last.date(), tell)
        db.close()
        say(f"{settings.venue.name}: {done.days} days, {done.movements:,} movements and "
            f"{done.leaves:,} leaves in {folder}")

    return export
