"""A secret from the environment, or from a file that only its owner reads."""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from unrung.errors import ConfigError


def secret_from(environ: Mapping[str, str], variable: str, path: Path | None) -> str:
    """The value of ``variable``, else the first line of the file at ``path``.

    Raises ConfigError where neither is there, or where others may read the file (POSIX; on Windows
    the file's own permissions decide). The secret itself is in no message.
    """
    if variable and environ.get(variable):
        return environ[variable]
    if path is None:
        raise ConfigError([f"the environment variable {variable} with the secret is not set"])
    try:
        mode = path.stat().st_mode
        if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise ConfigError([
                f"{path}: others can read this secret (mode {stat.S_IMODE(mode):04o}); run chmod 600 on it"
            ])
        lines = path.read_text("utf-8-sig").splitlines()
    except OSError as fault:
        raise ConfigError([f"{path}: the secret cannot be read ({fault.strerror})"]) from None
    except UnicodeDecodeError:
        raise ConfigError([f"{path}: the secret is not UTF-8 text"]) from None
    if not lines or not lines[0].strip():
        raise ConfigError([f"{path}: the file is empty; its first line is the secret"])
    return lines[0].strip()
