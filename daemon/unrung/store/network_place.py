"""Whether the store lies on a network folder, where its locks and its log are not to be relied on."""

from __future__ import annotations

import re
from pathlib import Path

MOUNTS = Path("/proc/mounts")
NETWORK = frozenset(
    "9p afs ceph cifs davfs fuse.rclone fuse.sshfs glusterfs ncpfs nfs nfs4 smb3 smbfs".split()
)
"""Kinds of file system that are another machine's."""


def network_kind(path: Path) -> str:
    """The kind of network folder that ``path`` lies on; empty where it is none, or nobody can tell."""
    if str(path).startswith("\\\\"):
        return "share"
    try:
        mounts = MOUNTS.read_text("utf-8", "surrogateescape")
    except OSError:
        return ""
    kind = kind_of(path.absolute(), mounts)
    return kind if kind in NETWORK else ""


def kind_of(path: Path, mounts: str) -> str:
    """The kind of the file system mounted nearest above ``path``, from the text of ``/proc/mounts``.

    >>> kind_of(Path("/srv/bar/unrung.sqlite"), "/dev/a / ext4 rw 0 0\\nnas:/x /srv nfs4 rw 0 0\\n")
    'nfs4'
    """
    found = [line.split(" ") for line in mounts.splitlines() if line.count(" ") >= 2]
    at = {Path(_plain(fields[1])): fields[2] for fields in found}
    return next((at[place] for place in (path, *path.parents) if place in at), "")


def _plain(escaped: str) -> str:
    """A blank stands there as ``\\040``."""
    return re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), escaped)
