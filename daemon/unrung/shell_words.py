"""Paths within commands that are shown, to be copied."""

from __future__ import annotations

import re


def as_word(path: object) -> str:
    """A path as one word of sh, cmd and PowerShell.

    >>> as_word("my-bar"), as_word("C:/The bars/Garden")
    ('my-bar', '"C:/The bars/Garden"')
    """
    return str(path) if re.fullmatch(r"[\w.,:/\\@%+=~-]+", str(path)) else f'"{path}"'
