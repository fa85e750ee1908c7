"""Every key for the screen: plain text that fits into 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from unrung.config_reference import MAPPED, Key, toml_tables
from unrung.config_tables import COLUMNS, NEEDED
from unrung.mapping import FIELDS

_WIDTH = 80


def reference_text() -> str:
    """What ``config_reference.reference`` says, without its Markdown."""
    lines = _wrapped("The keys of venue.toml. One without a default may be left out, unless it is needed.")
    for table in toml_tables():
        lines += ["", table.title, *_wrapped(table.said)]
        for key in table.keys:
            lines += [*_wrapped(_head(key), "  ", "      "), *_wrapped(key.said, "      ", "      ")]
    lines += ["", "What can be mapped under [feed.fields]; those in capitals are needed", ""]
    for kind, fields in FIELDS.items():
        lines += _named(kind, fields, [name for name, needed in fields.items() if needed])
    lines += ["", *_wrapped(MAPPED)]
    lines += ["", "The columns of the tables; those in capitals are needed", ""]
    for name, columns in COLUMNS.items():
        lines += _named(name, columns, NEEDED.get(name, ()))
    return "\n".join(lines)


def _head(key: Key) -> str:
    default = {"": "", "unset": "", "**needed**": "; needed"}.get(key.default, f"; default {key.default}")
    return f"{key.name}   {key.values}{default}"


def _named(title: str, names: Iterable[str], needed: Iterable[str]) -> list[str]:
    shown = ", ".join(name.upper() if name in needed else name for name in names)
    return _wrapped(f"{title}: {shown}", "  ", "      ")


def _wrapped(text: str, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        text.replace("`", "").replace("\\|", "|"), _WIDTH, initial_indent=first, subsequent_indent=then,
        break_long_words=False, break_on_hyphens=False,
    )
