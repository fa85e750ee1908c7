"""Sizes in the names of menu items: "16oz", "0,5 l", "Half", "Pint of Amber".

A size is read from a name only where it cannot mean two things. A pint is one of two, settled by the
pours; a schooner, a pot or a pitcher is a different measure from town to town, so it stays a word
and the pours say how much it is.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from unrung.setup.words import plain
from unrung.units import UNITS_UL

_METRIC = re.compile(
    r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s?-?(ml|cl|dl|l|litre|litres|liter|liters|lt|ltr)\b\.?", re.IGNORECASE
)
_BARE_LITRES = re.compile(r"(?<![\w.,])(0[.,][1-9]\d?|[12][.,][05])(?![\w.,%]|\s?%)")
"""A size in litres that nothing says is one, as German and Italian tills write it: "Pils 0,3"."""
_OUNCES = re.compile(r"(?<![\w.,])(\d+(?:\.\d+)?)\s?-?(?:fl\.?\s?)?(?:oz|ounce|ounces)\b\.?", re.IGNORECASE)
_PINTS = re.compile(
    r"(?<!\w)(?:(?P<part>1/2|½|half(?: a)?|halves|1/3|⅓|third(?: of a)?|2/3|⅔|"
    r"two[- ]thirds?(?: of a)?)[ -]?)?"
    r"(?P<pint>pints?|pt)\b\.?",
    re.IGNORECASE,
)
_PARTS = re.compile(r"(?<!\w)(?:half|½|1/2|⅔|2/3|⅓|1/3)(?!\w)", re.IGNORECASE)
_WORDS = re.compile(
    r"\b(pitcher|jug|growler|crowler|schooner|pot|middy|pony|goblet|tulip|snifter|stein|mass|mass?krug|"
    r"small|large|medium|regular|tall|short|taster|flight pour|glass|mug|imperial|goblet|stange|halbe|seidel|"
    r"klein|gross|grosses|kleines|demi|pinte|galopin|cana|tercio|doble|tubo|jarra|piccola|media|grande|"
    r"boccale|vaasje|fluitje|bokaal|pul|stor|liten|stort|lille|velke|male|velky|maly|duze|duzy|petit|petite|"
    r"grosse|kleine|groot|chica|chico|pequena|grand|piccolo|xs|s|m|l|xl)\b",
    re.IGNORECASE,
)
"""Words that tell sizes apart and do not say how much (from memory)."""
_SMALL_WORDS = re.compile(
    r"^(?:of|a|von|de|di|van)\s+|\s+(?:of|a|in|draught|draft|vom fass|on tap|glass)$", re.IGNORECASE
)
_UNIT_UL = {
    "ml": Fraction(1000), "cl": Fraction(10_000), "dl": Fraction(100_000),
}
_PART_OF = {
    "1/2": Fraction(1, 2), "½": Fraction(1, 2), "hal": Fraction(1, 2), "1/3": Fraction(1, 3),
    "⅓": Fraction(1, 3), "thi": Fraction(1, 3), "2/3": Fraction(2, 3), "⅔": Fraction(2, 3),
    "two": Fraction(2, 3),
}


@dataclass(frozen=True, slots=True)
class Named:
    """An item's name taken apart."""

    base: str
    """What is left of it without the size."""
    volume_ul: int | None = None
    """The size where the name says it outright."""
    pints: Fraction | None = None
    """The size in pints, US or imperial."""
    word: str = ""
    """A word or figure that tells the size from others."""


def taken_apart(item: str, size: str = "") -> Named:
    """``item`` and ``size`` as base name and size.

    >>> taken_apart("Weir Bitter Pint"), taken_apart("Export 0,5 l").volume_ul
    (Named(base='Weir Bitter', volume_ul=None, pints=Fraction(1, 1), word='pint'), 500000)
    >>> taken_apart("Half of Weir Bitter").pints, taken_apart("Weir Bitter", "16oz").volume_ul
    (Fraction(1, 2), 473176)
    >>> taken_apart("Pils 0,3").volume_ul, taken_apart("Weizen 0,5 %").volume_ul
    (300000, None)
    """
    for text in (size, item):
        for read in _READERS:
            found = read(text)
            if found is not None:
                rest, volume_ul, pints, word = found
                base = item if text is size else rest
                return Named(_tidy(base) or _tidy(item), volume_ul, pints, word)
        if text is size and size.strip():
            return Named(_tidy(item), None, None, plain(size))
    return Named(_tidy(item))


def says_a_size(text: str) -> bool:
    """Whether ``text`` holds a size of a glass.

    >>> [says_a_size(text) for text in ("16oz", "0,3 l", "Half", "Pitcher", "no onion", "")]
    [True, True, True, True, False, False]
    """
    return any(read(text) is not None for read in _READERS)


_Read = tuple[str, int | None, Fraction | None, str] | None
"""The rest of the text, microlitres, pints, word."""


def _metric(text: str) -> _Read:
    found = _METRIC.search(text) or _BARE_LITRES.search(text)
    if found is None:
        return None
    unit = found[2].lower() if found.re is _METRIC else "l"
    size = Fraction(found[1].replace(",", ".")) * _UNIT_UL.get(unit, Fraction(1_000_000))
    if not 20_000 <= size <= 6_000_000:
        return None
    return text[: found.start()] + text[found.end() :], round(size), None, plain(found[0])


def _ounces(text: str) -> _Read:
    found = _OUNCES.search(text)
    if found is None or not 1 <= Fraction(found[1]) <= 200:
        return None
    size = round(Fraction(found[1]) * UNITS_UL["us_fl_oz"])
    return text[: found.start()] + text[found.end() :], size, None, plain(found[0])


def _pints(text: str) -> _Read:
    found = _PINTS.search(text)
    if found is None:
        return None
    part = _PART_OF[found["part"][:3].lower()] if found["part"] else Fraction(1)
    return text[: found.start()] + text[found.end() :], None, part, plain(found[0]) or found[0]


def _part(text: str) -> _Read:
    """A bare "half": of a pint, wherever pints are sold. "Half-and-half" is a drink, no size."""
    found = _PARTS.search(text)
    if found is None or len(_PARTS.findall(text)) > 1 or re.search(r"half[ -](and|n|&)", text, re.IGNORECASE):
        return None
    part = _PART_OF[found[0][:3].lower()]
    return text[: found.start()] + text[found.end() :], None, part, plain(found[0]) or found[0]


def _word(text: str) -> _Read:
    found = _WORDS.search(_without_accents(text))
    if found is None or (found.span() == (0, len(text.strip())) and len(text.strip()) > 8):
        return None
    return text[: found.start()] + text[found.end() :], None, None, plain(found[0])


_READERS = (_metric, _ounces, _pints, _part, _word)


def _without_accents(text: str) -> str:
    """Letter for letter, so that what is found stands at the same place."""
    return "".join(unicodedata.normalize("NFKD", letter)[0] for letter in text)


def _tidy(text: str) -> str:
    """Without the signs and small words that a size leaves behind."""
    bare = re.sub(r"\(\s*\)|\[\s*\]", " ", text)
    bare = " ".join(bare.split()).strip(" -–,;:/.|")
    bare = _SMALL_WORDS.sub("", bare)
    return bare.strip(" -–,;:/.|")
