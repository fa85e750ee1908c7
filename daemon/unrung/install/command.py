"""``unrung service``: what to install so that the service starts with the machine."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import click

Say = Callable[..., None]


def service_command(say: Say) -> click.Command:
    """``unrung service``; ``say`` prints, with ``err`` beside the output."""

    @click.command("service")
    @click.argument("config", type=click.Path(path_type=Path))
    @click.option("--for", "system", type=click.Choice(["systemd", "windows"]), default=None,
                  help="Which system; this machine's by default.")
    def service(config: Path, system: str | None) -> None:
        """Print a systemd unit or a Windows task for the service.

        The steps to install it are printed beside it.

        \b
        Example:  unrung service my-bar > unrung.service
        """
        from unrung.config_folder import load
        from unrung.install.systemd import systemd_unit
        from unrung.install.windows_task import windows_steps, windows_task

        settings = load(config)
        folder, python, name = Path(settings.folder), Path(sys.executable), settings.venue.name
        if (system or ("windows" if os.name == "nt" else "systemd")) == "windows":
            say(windows_steps(str(folder), str(python)), err=True)
            say(windows_task(str(folder), str(python), name))
            return
        files = settings.files
        places = [*(feed.folder for feed in settings.feed if feed.folder), settings.upkeep.backups,
                  files.folder, files.archive, files.aside, str((folder / files.store).parent)]
        outside = sorted({(folder / place).resolve() for place in places})
        writable = tuple(path for path in outside if not path.is_relative_to(folder))
        say(systemd_unit(folder, python, name, folders=writable,
                         password_file=settings.mail.password_file))

    return service
