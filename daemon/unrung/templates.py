"""Templates beside the modules that fill them in. What they are compiled to is kept as Python keeps what it
compiles the program to, so that a day's first page need not wait for it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from importlib.util import cache_from_source
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket


def environment(
    folder: Path, *, autoescape: bool | Callable[[str | None], bool],
    filters: Mapping[str, Callable[..., Any]] | None = None,
) -> Environment:
    """Of the templates in ``folder``, which belongs to the program."""
    made = Environment(
        loader=FileSystemLoader(folder), undefined=StrictUndefined, autoescape=autoescape,
        trim_blocks=True, lstrip_blocks=True, bytecode_cache=_BesideTheProgram(),
    )
    made.filters.update(filters or {})
    return made


class _BesideTheProgram(BytecodeCache):
    """In ``__pycache__`` (or below PYTHONPYCACHEPREFIX) and by Python's own rules: written where that may be,
    and not where Python was told to write none. Who may write there may write what Python runs as the program
    itself, so nothing is trusted that was not before; any other folder would be."""

    def get_cache_key(self, name: str, filename: str | None = None) -> str:
        """Where it is; "" where Python keeps nothing."""
        try:
            kept = Path(cache_from_source(filename or ""))
        except NotImplementedError:
            return ""
        return str(kept.with_suffix(f".jinja-{jinja2.__version__}")) if filename else ""

    def load_bytecode(self, bucket: Bucket) -> None:
        with suppress(Exception), open(bucket.key, "rb") as kept:  # whatever is wrong, it is compiled anew
            bucket.load_bytecode(kept)  # unless it was made of another text, or by another Python

    def dump_bytecode(self, bucket: Bucket) -> None:
        if sys.dont_write_bytecode or not bucket.key:
            return
        unfinished = f"{bucket.key}.{os.getpid()}"
        with suppress(OSError):
            os.makedirs(os.path.dirname(bucket.key), exist_ok=True)
            with open(unfinished, "wb") as file:
                bucket.write_bytecode(file)
            os.replace(unfinished, bucket.key)
        with suppress(OSError):
            os.unlink(unfinished)  # which is there only where the rest of it failed
