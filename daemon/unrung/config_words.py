"""Problems with a config value in plain words, with the nearest known name."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from unrung.config_lines import Place, line_of

_TAGS = re.compile(r"^(tuple|Constant|function-|json-or-python|lax-or-strict)")
"""Parts of a place that pydantic adds for the branches of a union."""


def sentences(
    error: ValidationError, model: type[BaseModel], lines: Mapping[Place, int] | None = None
) -> list[str]:
    """Pydantic's findings in plain words, each once, with the nearest known key; with ``lines``,
    each begins with its line."""
    found: dict[str, None] = {}
    for one in error.errors():
        if one["type"] == "none_required":
            continue  # "or leave it out": the other branch of the union says what is wrong
        place = tuple(part for part in one["loc"] if not _TAGS.match(str(part)))
        line = line_of(dict(lines), place) if lines else 0
        found[(f"line {line}: " if line else "") + _sentence(one, place, model)] = None
    return list(found)


def _sentence(one: Any, place: Place, model: type[BaseModel]) -> str:
    name = shown(place)
    match one["type"]:
        case "extra_forbidden":
            known = _known_keys(model, place[:-1])
            return f"{name}: this key is not known{nearest(str(place[-1]), known)}"
        case "missing":
            return f"{name}: this key is missing."
        case "tuple_type" | "model_type" | "dict_type" if place[-2:-1] == ("fields",):
            return (f"{name}: write the name of a column, a list of names, or {{const = \"...\"}} "
                    f"(found {one['input']!r}).")
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"{name}: write a table here (found {one['input']!r})."
        case "tuple_type":
            return f"{name}: write a list in square brackets, such as [\"...\"] (found {one['input']!r})."
        case "string_pattern_mismatch":
            form = one["ctx"]["pattern"].strip("^$")
            about = _description(model, place)
            return f"{name}: must be of the form {form} (found {one['input']!r}). {about}".rstrip()
        case _:
            text = one["msg"].removeprefix("Value error, ")
            return f"{name}: {text[0].lower()}{text[1:]} (found {one['input']!r})."


def shown(place: Place) -> str:
    """A place as a person reads it, elements counted from 1.

    >>> shown(("feed", 1, "fields", "at"))
    'feed[2].fields.at'
    """
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def _known_keys(model: type[BaseModel], path: Place) -> list[str]:
    here = _at(model, path)
    return list(getattr(here, "model_fields", {}))


def _description(model: type[BaseModel], path: Place) -> str:
    fields = getattr(_at(model, path[:-1]), "model_fields", {})
    return (fields[path[-1]].description or "") if path and path[-1] in fields else ""


def _at(model: type[BaseModel], path: Place) -> Any:
    here: Any = model
    for part in path:
        if isinstance(part, str) and hasattr(here, "model_fields") and part in here.model_fields:
            here = _inner(here.model_fields[part].annotation)
    return here


def _inner(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _inner(part))), None)


def nearest(word: str, known: Iterable[str]) -> str:
    """The end of a sentence about an unknown ``word``: the nearest known one, or all of few.

    >>> nearest("TIMEZON", ["timezone", "name"]), nearest("x", ["timezone", "name"])
    ("; did you mean 'timezone'?", '; known are name, timezone.')
    """
    names = {name.casefold(): name for name in sorted(known)}
    near = difflib.get_close_matches(word.casefold(), names, 1, 0.6)
    if near:
        return f"; did you mean {names[near[0]]!r}?"
    return f"; known are {', '.join(names.values())}." if 0 < len(names) <= 20 else "."


def stopped(text: str) -> str:
    """``text`` with a full stop, unless it ends a sentence already."""
    return text if text.endswith((".", "?", "!")) else text + "."
