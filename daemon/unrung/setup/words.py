"""What exports call what they hold: headers and kinds brought into one form and looked up.

Words are written without accents, umlauts as a, o, u; ``plain`` brings a text into that form.
"""

from __future__ import annotations

import re
import unicodedata

from unrung.setup.header_words import HEADERS
from unrung.setup.kind_words import KINDS

__all__ = ["HEADERS", "header_fit", "kind_of", "plain"]

_LETTERS = str.maketrans({
    "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D",
})
"""Letters that Unicode does not take apart."""

_SHARED = ("comp", "training")


def plain(text: str) -> str:
    """Lower case words without accents, signs or camel case.

    >>> plain("RungAt"), plain("Größe (ml)"), plain("line_total"), plain("mL"), plain("Beløp")
    ('rung at', 'grosse ml', 'line total', 'ml', 'belop')
    """
    metric = re.sub(r"\b([mcd])L\b", r"\1l", text)
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", metric)
    bare = unicodedata.normalize("NFKD", spaced.translate(_LETTERS))
    letters = "".join(letter for letter in bare if not unicodedata.combining(letter))
    return " ".join(re.findall(r"[^\W_]+", letters.casefold()))


def header_fit(title: str, phrases: str) -> float:
    """How well a header says one of ``phrases``: 1 for the very words, less for some of them.

    >>> header_fit("Menge", "menge|anzahl"), header_fit("Pour volume (ml)", "volume|ml") > 0.5
    (1.0, True)
    """
    said = plain(title)
    if not said:
        return 0.0
    known = phrases.split("|")
    if said in known:
        return 1.0 - 0.2 * known.index(said) / len(known)
    words = said.split()
    best = 0.0
    for place, phrase in enumerate(known):
        parts = phrase.split()
        if len(phrase) > 1 and _within(parts, words):
            best = max(best, (0.4 + 0.4 * len(parts) / len(words)) * (1 - 0.2 * place / len(known)))
    return best


def kind_of(text: str, carries: str) -> str:
    """Our kind for a source's text, or "" where none of the known words fits. What a till and a sheet both
    have, comps and training, is called alike in both.

    >>> kind_of("Storno", "rings"), kind_of("Na koszt firmy", "log"), kind_of("Formación", "rings")
    ('void', 'comp', 'training')
    """
    said = plain(text)
    for kind, phrases in KINDS.get(carries, {}).items():
        if said in phrases.split("|"):
            return kind
    for kind, phrases in KINDS.get(carries, {}).items():
        if any(len(p) > 3 and _within(p.split(), said.split()) for p in phrases.split("|")):
            return kind
    other = KINDS.get({"rings": "log", "log": "rings"}.get(carries, ""), {})
    return next((kind for kind in _SHARED if said in other.get(kind, "").split("|")), "")


def _within(parts: list[str], words: list[str]) -> bool:
    """Whether ``parts`` stand in ``words`` one behind the other."""
    return any(words[at : at + len(parts)] == parts for at in range(len(words) - len(parts) + 1))
