"""The mail server's password: from the environment, or from a file only its owner reads."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from unrung.errors import ConfigError
from unrung.settings import Mail

CREDENTIAL = "mail-password"
"""Name under which systemd hands the password over (LoadCredential, systemd.exec(5))."""


def password(mail: Mail, environ: Mapping[str, str], folder: str = "") -> str:
    """Empty where no log-in is set. The environment wins over the file.

    A relative ``password_file`` starts at ``folder``. Raises ConfigError where neither is there,
    or where others may read the file (POSIX; on Windows the file's own permissions decide).
    """
    if not mail.user:
        return ""
    if environ.get(mail.password_env):
        return environ[mail.password_env]
    granted = environ.get("CREDENTIALS_DIRECTORY", "")
    if granted and (Path(granted) / CREDENTIAL).is_file():
        return (Path(granted) / CREDENTIAL).read_text("utf-8-sig").splitlines()[0]
    if not mail.password_file:
        raise ConfigError([
            f"[mail] user is {mail.user!r} but there is no password: set the environment variable "
            f"{mail.password_env}, or password_file"
        ])
    return _from_file(Path(folder) / mail.password_file)


def _from_file(path: Path) -> str:
    try:
        mode = path.stat().st_mode
        if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise ConfigError([
                f"{path}: others can read this password file (mode {stat.S_IMODE(mode):04o}); "
                f"run chmod 600 on it"
            ])
        lines = path.read_text("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise ConfigError([f"{path}: the password file cannot be read ({fault})"]) from fault
    if not lines or not lines[0]:
        raise ConfigError([f"{path}: the password file is empty; its first line is the password"])
    return lines[0]
