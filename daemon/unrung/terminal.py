"""What is printed, broken to fit a terminal of 80 columns."""

from __future__ import annotations

import io
import sys
import textwrap

import click

WIDTH = 80
_TO_COPY = 6
"""Blanks in front of a row that is meant to be copied whole."""


def spell_unknown_characters() -> None:
    """What the output cannot hold is spelt out (``\\u017b``) instead of being an error: an old Windows gives
    files and pipes a code page of a few letters."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def folded(text: str) -> str:
    """``text`` with its long lines broken at blanks, what follows set in; rows to be copied stay.

    >>> print(folded("- " + 9 * "a sentence "))
    - a sentence a sentence a sentence a sentence a sentence a sentence a sentence a
      sentence a sentence
    """
    return "\n".join(part for line in text.split("\n") for part in folded_line(line))


def folded_line(line: str, width: int = WIDTH) -> list[str]:
    """One line as one or several."""
    bare = line.lstrip()
    room = " " * (len(line) - len(bare))
    if len(line) <= width or len(room) >= _TO_COPY:
        return [line]
    return textwrap.wrap(
        bare, width, initial_indent=room, subsequent_indent=f"{room}  ", break_long_words=False,
        break_on_hyphens=False,
    )


def wrong_use(error: click.ClickException) -> str:
    """What was wrong in a command's words, and where its help is."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):  # its message is the help
        return error.format_message()
    context = getattr(error, "ctx", None)
    where = ""
    if context is not None:
        where = f"{context.get_usage()}\nTry '{context.command_path} --help' for help.\n\n"
    return f"{where}Error: {error.format_message()}"
