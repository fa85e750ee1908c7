"""What the builders of records are told: the mapping, the clock of the export, the mapped fields."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from unrung.mapping import Constant, Mapping
from unrung_adapters.bad_value import BadValue
from unrung_adapters.moments import Moments


@dataclass(frozen=True, slots=True)
class Plan:
    """One export's reading."""

    mapping: Mapping
    moments: Moments
    mapped: frozenset[str]


def mapped_fields(mapping: Mapping) -> frozenset[str]:
    """The mapped fields; never staff, unless the venue asked for it."""
    return frozenset(mapping.fields) - (frozenset() if mapping.keep_staff else {"staff"})


def kind_reader(
    field: str, mapping: Mapping, known: Iterable[str], otherwise: str = ""
) -> Callable[[str], str]:
    """A reader from the source's text to one of our words, by ``formats.kinds`` alone.

    A constant may be our word itself. A text that is not listed is ``otherwise``, or, where that is
    empty, a bad value: what it means is not guessed.
    """
    words = {
        text.strip().casefold(): kind for kind, texts in mapping.formats.kinds.items()
        for text in texts
    }
    source = mapping.fields.get(field)
    if isinstance(source, Constant) and source.const in known:
        words.setdefault(source.const.casefold(), source.const)

    @lru_cache(maxsize=1024)
    def read(text: str) -> str:
        found = words.get(text.strip().casefold(), otherwise)
        if not found:
            raise BadValue(
                field, text, "is not listed under formats.kinds",
                f"List it there as one of: {', '.join(known)}.",
            )
        return found

    return read
