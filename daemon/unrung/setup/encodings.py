"""The encoding of an export: what its bytes prove, and what they leave open.

Bytes that are UTF-8 by chance are next to impossible; an 8-bit encoding is never proven by bytes
alone. There the words are read in every encoding that gives plain words, and where these differ the
spelling is asked for: a person knows at once whether it is "Bière" or "Bičre".
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections.abc import Iterable, Sequence

from charset_normalizer import from_bytes

from unrung.setup.doubt import Doubt, Found
from unrung.setup.numbers import MONEY_SIGNS
from unrung.setup.words import HEADERS, plain

_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"), (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
_CANDIDATES = (
    "cp1252", "cp1250", "cp1254", "cp1257", "iso8859_15", "iso8859_2", "cp850", "cp852", "cp437",
    "mac_roman", "cp1251", "koi8_r", "cp866", "iso8859_5", "mac_cyrillic", "cp1253", "cp1255", "cp1256",
    "cp874", "cp949", "big5", "gb18030", "shift_jis", "euc_jp",
)  # fmt: skip
"""Encodings that tills of one region or another write, the more usual first (from memory)."""
_READABLE = {
    "cp1252": "windows-1252", "cp1250": "windows-1250", "cp1254": "windows-1254",
    "cp1257": "windows-1257", "cp1251": "windows-1251", "cp1253": "windows-1253",
    "cp1255": "windows-1255", "cp1256": "windows-1256", "iso8859_15": "iso-8859-15",
}
_HEADER_WORDS = frozenset(
    word for fields in HEADERS.values() for phrases in fields.values()
    for word in re.findall(r"\w{4,}", phrases)
)
_LINES = 300
"""Lines with letters beyond ASCII that are looked at; the rest only has to decode."""


def encoding_of(contents: Sequence[bytes]) -> Found:
    """The encoding that all of ``contents`` are in; in doubt where readings of it differ."""
    for bom, name in _BOMS:
        if any(content.startswith(bom) for content in contents):
            return Found(name, "they begin with its byte-order mark")
    joined = b"\n".join(contents)
    if b"\0" in joined[:1000]:
        return Found("utf-16-le" if joined[1:2] == b"\0" else "utf-16-be", "every other byte is NUL")
    if joined.isascii():
        return Found("utf-8", "they hold plain ASCII only, which every encoding reads alike")
    if all(_decodes(content, "utf-8") for content in contents):
        return Found("utf-8", "their letters beyond ASCII are UTF-8, which no other text is by chance")
    return _eight_bit(joined)


def label(encoding: str) -> str:
    """The name that people know an encoding by.

    >>> label("cp1252")
    'windows-1252'
    """
    return _READABLE.get(encoding, encoding)


def _eight_bit(content: bytes) -> Found:
    readings: dict[str, str] = {}
    telling = b"\n".join([line for line in content.splitlines() if not line.isascii()][:_LINES])
    suggested = _suggested(telling)
    for name in _CANDIDATES:
        text = _text(telling, name)
        if text is not None and _plausible(text) and _decodes(content, name):
            readings[name] = text
    if not readings:
        return _unreadable(content, suggested)
    readings = _best_known(readings)
    best = _best(readings, suggested)
    differing = {text: name for name, text in reversed(readings.items())}
    if len(differing) == 1:
        return Found(label(best), "every encoding that gives plain words reads them alike")
    return _spelling(best, readings)


def _best_known(readings: dict[str, str]) -> dict[str, str]:
    """Those readings that hold the most words for columns and the most signs of money that we know: no bar
    takes 59,00 Kè. All of them where none holds any."""
    known = {name: _known_words(text) for name, text in readings.items()}
    return {name: text for name, text in readings.items() if known[name] == max(known.values())}


def _known_words(text: str) -> int:
    words = {word for word in re.findall(r"[^\W\d_]+", text) if not word.isascii()}
    return len({word for word in words if word in MONEY_SIGNS or plain(word) in _HEADER_WORDS})


def _best(readings: dict[str, str], suggested: Sequence[str]) -> str:
    """Western text is windows-1252 as a rule, whatever its few letters look like to statistics;
    other scripts go by the statistics of their letters."""
    if "cp1252" in readings and _share_of_ascii_letters(readings["cp1252"]) > 0.5:
        return "cp1252"
    return next((name for name in suggested if name in readings), next(iter(readings)))


def _spelling(best: str, readings: dict[str, str]) -> Found:
    words = _telling_words(readings[best])
    by_text: dict[str, str] = {}
    for name in dict.fromkeys([best, *readings]):
        shown = ", ".join(_words_at(readings[name], words))
        by_text.setdefault(shown, name)
    choices = tuple((label(name), shown) for shown, name in by_text.items())
    why = "the usual one for such letters, but the bytes alone do not prove it"
    doubt = Doubt("encoding", "How are these words spelt?", choices, label(best), why)
    return Found(label(best), why, doubt if len(choices) > 1 else None)


def _telling_words(text: str) -> list[int]:
    """Places of the first few different words with letters beyond ASCII."""
    seen: dict[str, int] = {}
    for found in re.finditer(r"\S*[^\x00-\x7f]\S*", text):
        if any(letter.isalpha() for letter in found[0]):
            seen.setdefault(found[0].casefold(), text[: found.start()].count("\n"))
        if len(seen) == 4:
            break
    return sorted(set(seen.values()))


def _words_at(text: str, lines: Iterable[int]) -> list[str]:
    rows = text.split("\n")
    found = []
    for line in lines:
        if line < len(rows):
            words = re.findall(r"[^\s,;\"|]*[^\x00-\x7f][^\s,;\"|]*", rows[line])
            found += [word.strip("'") for word in words[:2]]
    return found[:4]


def _unreadable(content: bytes, suggested: Sequence[str]) -> Found:
    names = [name for name in [*suggested, "cp1252", "latin_1"] if _text(content, name) is not None]
    doubt = Doubt(
        "encoding", "In which encoding are the files? None of the usual ones gives plain words.", (),
        label(names[0]), "the nearest of those that read them at all",
    )
    return Found(label(names[0]), doubt.why, doubt)


def _suggested(content: bytes) -> list[str]:
    """What charset-normalizer takes the bytes for, best first: a suggestion and no more."""
    return [match.encoding for match in from_bytes(content) if match.encoding != "ascii"]


def _text(content: bytes, encoding: str) -> str | None:
    try:
        return content.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        return None


def _decodes(content: bytes, encoding: str) -> bool:
    return _text(content, encoding) is not None


def _plausible(text: str) -> bool:
    """Whether every word with a letter beyond ASCII is a word of one script, without control
    characters or drawing signs inside."""
    words = {word for word in re.findall(r"\S*[^\x00-\x7f]\S*", text)}
    return all(map(_plain_word, words))


def _plain_word(word: str) -> bool:
    scripts, inner = set(), re.sub(r"^[\W_]+|[\W_]+$", "", word)
    for at, letter in enumerate(word):
        kind = unicodedata.category(letter)
        if kind in ("Cc", "Co", "Cn", "Cs"):
            return False
        if kind.startswith("L"):
            scripts.add(_script(letter))
        elif not letter.isascii() and kind in ("So", "Sm", "Sk", "Lm", "No") and len(inner) > 1 and (
            0 < at < len(word) - 1
        ):
            return False
    return len(scripts) <= 1


def _script(letter: str) -> str:
    """The first word of a letter's name: LATIN, GREEK, CYRILLIC, CJK, HANGUL.

    >>> _script("é"), _script("ж")
    ('LATIN', 'CYRILLIC')
    """
    return unicodedata.name(letter, "?").split()[0].split("-")[0]


def _share_of_ascii_letters(text: str) -> float:
    letters = [letter for letter in text[:20_000] if letter.isalpha()]
    return sum(letter.isascii() for letter in letters) / len(letters) if letters else 1.0
