"""Mistakes in ``formats.kinds``: a text that is not listed would quietly be something else."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from typing import get_args

from unrung.mapping import Constant, Mapping
from unrung.records import KegKind, LogReason, RingKind

_KINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "rings": ("kind", get_args(RingKind)),
    "kegs": ("kind", get_args(KegKind)),
    "log": ("reason", get_args(LogReason)),
}
"""The field that holds the kind, and the words for it, per kind of feed."""


def kind_problems(mapping: Mapping) -> Iterator[str]:
    """Sentences about kinds that are unknown, listed twice, or never looked at."""
    kinds = mapping.formats.kinds
    if mapping.carries not in _KINDS:
        if kinds:
            yield f"{mapping.carries} have no kinds; leave formats.kinds out."
        return
    field, known = _KINDS[mapping.carries]
    for kind in kinds:
        if kind not in known:
            near = get_close_matches(kind, known, 1)
            guess = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}."
            yield f"formats.kinds has an unknown {field} {kind!r}; {guess}"
    yield from _listed_twice(kinds)
    yield from _unlooked_at(mapping, field, known)


def _listed_twice(kinds: dict[str, tuple[str, ...]]) -> Iterator[str]:
    owner: dict[str, str] = {}
    for kind, texts in kinds.items():
        for text in texts:
            other = owner.setdefault(text.strip().casefold(), kind)
            if other != kind:
                yield f"formats.kinds lists {text!r} under {other!r} and {kind!r}; choose one."


def _unlooked_at(mapping: Mapping, field: str, known: tuple[str, ...]) -> Iterator[str]:
    source, kinds = mapping.fields.get(field), mapping.formats.kinds
    if source is None and kinds:
        yield f"formats.kinds is set, but the field {field!r} is not mapped; map it."
    elif isinstance(source, Constant):
        listed = {text.strip().casefold() for texts in kinds.values() for text in texts}
        if source.const not in known and source.const.strip().casefold() not in listed:
            yield f"the {field} {source.const!r} is not known; use one of: {', '.join(known)}."
    elif source is not None and not kinds:
        yield (
            f"the field {field!r} is mapped, but formats.kinds does not say what its texts mean; "
            f"list them there as: {', '.join(known)}."
        )
