"""``unrung restore``: the command; what it does stands in ``restoring``."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import click

Say = Callable[[str], None]
Alone = Callable[[Path], None]
"""Takes the lock of a config folder until the process ends."""


def restore_command(say: Say, alone: Alone) -> click.Command:
    """``unrung restore``."""

    @click.command("restore")
    @click.argument("config", type=click.Path(path_type=Path))
    @click.option("--from", "chosen", type=click.Path(path_type=Path), default=None,
                  help="A backup by its name in the list, or any file.")
    @click.option("--list", "only_list", is_flag=True, help="Say which backups there are.")
    def restore(config: Path, chosen: Path | None, only_list: bool) -> None:
        """Put a backup in the place of the store.

        Without one named, they are listed. The backup is read from end to end first, and the store that
        it replaces is kept beside it. Exports in the archive that the backup does not know are then taken
        in again. Stop the service first.

        \b
        Example:  unrung restore my-bar --from unrung-20261101T100000Z.sqlite
        """
        from unrung.restoring import listed
        from unrung.restoring import restore as put_back

        if chosen is None or only_list:
            for line in listed(config):
                say(line)
            return
        alone(config)
        put_back(config, chosen, time.time_ns() // 1_000_000, say)

    return restore
