"""Every key of ``venue.toml`` with its unit and default, made from the models so that it is true."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from datetime import time
from decimal import Decimal
from typing import Any, Literal, NamedTuple, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from unrung.config_tables import COLUMNS, NEEDED
from unrung.mapping import FIELDS
from unrung.settings import Settings

NOT_IN_TOML = {"products", "menu", "taps", "fixes", "folder", "digest", "currency_digits"}
HEAD = """\
# Every key of the config folder

This page is made from the program's own models by `unrung keys --markdown`; a test fails when it
is not current. "unset" means that the key may be left out and nothing takes its place.
"""


MAPPED = (
    "A pour needs tap or meter, volume or pulses, and two of start, end and duration. A field is mapped to a "
    "column, to several columns joined by a blank (`[\"Date\", \"Time\"]`), to a JSON pointer (RFC 6901; a "
    "relative one such as `2/name` reaches the parents of a row), or to `{const = \"...\"}`."
)


class Key(NamedTuple):
    """What is told of one key; ``values`` are Markdown."""

    name: str
    values: str
    default: str
    said: str


class Table(NamedTuple):
    """A table of ``venue.toml``: its title in brackets, what it is, its keys."""

    title: str
    said: str
    keys: tuple[Key, ...]


def reference() -> str:
    """The whole page, Markdown."""
    parts = [HEAD, "## venue.toml\n"]
    for table in toml_tables():
        parts += [f"### {table.title}\n", *([table.said + "\n"] if table.said else [])]
        parts.append("| key | values | default | what it does |\n|---|---|---|---|")
        parts += [f"| `{key.name}` | {key.values} | {key.default} | {key.said} |" for key in table.keys]
        parts.append("")
    parts.append("## What can be mapped under [feed.fields]\n")
    for kind, fields in FIELDS.items():
        shown = ", ".join(f"**{one}**" if needed else one for one, needed in fields.items())
        parts.append(f"- `carries = \"{kind}\"`: {shown}")
    parts.append(f"\nBold ones are needed. {MAPPED}\n")
    parts.append("## The tables\n")
    for name, columns in COLUMNS.items():
        needed = NEEDED.get(name, ())
        shown = ", ".join(f"**{one}**" if one in needed else one for one in columns)
        parts.append(f"`{name}`: {shown}. Bold ones are needed; the others may be absent.\n")
    return "\n".join(parts)


def _sections() -> Iterator[tuple[str, type[BaseModel], bool]]:
    for name, field in Settings.model_fields.items():
        model = _model_in(field.annotation)
        if name not in NOT_IN_TOML and model is not None:
            yield name, model, get_origin(field.annotation) is tuple


def toml_tables() -> Iterator[Table]:
    """Every table of ``venue.toml``, one within another behind it."""
    for name, model, many in _sections():
        yield from _tables(f"[[{name}]]" if many else f"[{name}]", model)


def _tables(title: str, model: type[BaseModel]) -> Iterator[Table]:
    said = (inspect.getdoc(model) or "").split("\n\n")[0]
    inner: list[tuple[str, type[BaseModel]]] = []
    keys: list[Key] = []
    for key, field in model.model_fields.items():
        nested = _model_in(field.annotation)
        if nested is not None and get_origin(field.annotation) is not dict and _is_table(nested):
            inner.append((f"{title.strip('[]')}.{key}", nested))
            keys.append(Key(key, "table, see below", "", _said(field)))
        else:
            keys.append(Key(key, _values(field), _default(field), _said(field)))
    yield Table(title, "" if "``" in said.split("\n")[0] else said.replace("\n", " "), tuple(keys))
    for name, nested in inner:
        yield from _tables(f"[{name}]", nested)


def _is_table(model: type[BaseModel]) -> bool:
    return model.__name__ not in ("Constant", "RowFilter")


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)


_NAMES = {
    "str": "text", "int": "whole number", "float": "number", "Decimal": "number", "bool": "true, false",
    "time": "local time", "date": "date",
}


def _values(field: FieldInfo) -> str:
    choices = _choices(field.annotation)
    if choices:
        return ", ".join(f"`{one}`" if str(one).strip() else f'`"{one}"`' for one in choices)
    return _type(field.annotation)


def _choices(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for part in get_args(annotation) if (found := _choices(part))), ())


def _type(annotation: Any) -> str:
    if isinstance(annotation, type):
        return _NAMES.get(annotation.__name__, "table")
    if get_origin(annotation) is dict:
        return "table"
    if get_origin(annotation) is tuple:
        return "list"
    return next((_type(part) for part in get_args(annotation) if part is not type(None)), "text")


def _default(field: FieldInfo) -> str:
    default = field.get_default(call_default_factory=True, validated_data={})
    if default is PydanticUndefined:
        return "**needed**"
    if default is None or default in ("", (), {}):
        return "unset"
    if isinstance(default, bool):
        return "true" if default else "false"
    if isinstance(default, time):
        return default.isoformat("minutes")
    if isinstance(default, (str, int, float, Decimal)):
        return f"`{default}`"
    return "see the table"


def _said(field: FieldInfo) -> str:
    text = re.sub(r"\s+", " ", field.description or "").replace("|", "\\|").replace("``", "`")
    return text.strip()
