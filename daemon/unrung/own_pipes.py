"""Pipes to who started this process, apart from its standard input and output."""

from __future__ import annotations

import os


def own_pipe(number: int) -> int:
    """A file descriptor for what descriptor ``number`` (0 standard input, 1 standard output) led to. That one
    leads nowhere from then on.

    On Windows a library that is loaded looks at the standard streams (numpy's does; its issue 24290), and
    would wait there until whoever reads or writes one in another thread has done so: for ever, where that is
    a thread that waits for who started the process to say something, or to end."""
    own = os.dup(number)
    nowhere = os.open(os.devnull, os.O_RDONLY if number == 0 else os.O_WRONLY)
    os.dup2(nowhere, number)
    os.close(nowhere)
    return own
