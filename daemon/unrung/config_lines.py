"""On which line of ``venue.toml`` a key stands: the TOML reader does not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

Place = tuple[str | int, ...]
"""Names of tables and keys, with the number of an element (from 0) behind an array's name."""

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]\[]+?)\s*\]")
_KEY = re.compile(r"\s*((?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[\w-]+|\"[^\"]*\"))*)\s*=")


def key_lines(text: str) -> dict[Place, int]:
    """Every table and key to its line, from 1.

    >>> key_lines("[[feed]]\\nname = 'till'\\n[feed.fields]\\nat = 'Time'")["feed", 0, "fields", "at"]
    4
    """
    found: dict[Place, int] = {}
    counts: dict[str, int] = {}
    here: Place = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            names = _names(header[2])
            if header[1] == "[[":
                counts[names[0]] = counts.get(names[0], -1) + 1
            here = (names[0], counts[names[0]], *names[1:]) if names[0] in counts else tuple(names)
            found.setdefault(here, number)
        elif key := _KEY.match(line):
            found.setdefault((*here, *_names(key[1])), number)
    return found


def line_of(lines: dict[Place, int], place: Iterable[str | int]) -> int:
    """The line of a place, or of the nearest table around it; 0 where neither is known."""
    parts = tuple(place)
    return next((lines[parts[:end]] for end in range(len(parts), 0, -1) if parts[:end] in lines), 0)


def _names(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in dotted.split(".")]
