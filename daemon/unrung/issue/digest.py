"""Whether a day has to be issued again: a digest of what its files say, whatever their revision."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from unrung.issue.daily import NO_REVISION as NO_REVISION
from unrung.issue.daily import PACKAGE


def content_digest(files: Mapping[str, bytes]) -> str:
    """SHA-256 over names and bytes of ``files``, which must be rendered with ``NO_REVISION``.

    The data package is left out: it follows from the other files, and its wording may change with
    the program, which is no reason to issue a day again.
    """
    whole = hashlib.sha256()
    for name in sorted(set(files) - {PACKAGE}):
        whole.update(f"{name}\0{hashlib.sha256(files[name]).hexdigest()}\n".encode())
    return whole.hexdigest()
