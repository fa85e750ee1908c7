"""Problems with a config value in plain words, with the nearest known name."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any, get_args

from pydantic import BaseModel, ValidationError


def sentences(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """Pydantic's findings in plain words, with the nearest known key."""
    return [_sentence(one, model) for one in error.errors()]


def _sentence(one: Any, model: type[BaseModel]) -> str:
    place = ""
    for part in one["loc"]:
        if isinstance(part, int):
            place += f"[{part + 1}]"
        elif not part.startswith(("tuple", "Constant", "function-")):
            place += ("." if place else "") + part
    found = one.get("input")
    match one["type"]:
        case "extra_forbidden":
            known = _known_keys(model, one["loc"][:-1])
            return f"{place}: this key is not known{nearest(str(one['loc'][-1]), known)}."
        case "missing":
            return f"{place}: this key is missing."
        case _:
            text = one["msg"].removeprefix("Value error, ")
            return f"{place}: {text[0].lower()}{text[1:]} (found {found!r})."


def _known_keys(model: type[BaseModel], path: tuple[Any, ...]) -> list[str]:
    here: Any = model
    for part in path:
        if isinstance(part, str) and hasattr(here, "model_fields") and part in here.model_fields:
            here = _inner(here.model_fields[part].annotation)
    return list(getattr(here, "model_fields", {}))


def _inner(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _inner(part))), None)


def nearest(word: str, known: Iterable[str]) -> str:
    """What to add to a sentence about an unknown ``word``: the nearest known one, or all of few.

    >>> nearest("timezon", ["timezone", "name"])
    "; did you mean 'timezone'?"
    """
    names = sorted(known)
    near = difflib.get_close_matches(word, names, 1, 0.6)
    if near:
        return f"; did you mean {near[0]!r}?"
    return f"; known are {', '.join(names)}" if 0 < len(names) <= 20 else ""
