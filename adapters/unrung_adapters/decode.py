"""Bytes to text: strictly, in the encoding that the feed declares."""

from __future__ import annotations

import codecs
import re

from unrung.errors import ExportError, IncompleteExport

_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_LINE_END = re.compile(r"\r\n?|\n")
_WEB_PAGE = re.compile(r"\s*<\s*(?:!doctype|html|head|body|\?xml)", re.IGNORECASE)


def decoded(name: str, content: bytes, encoding: str) -> str:
    """``content`` as text, without the byte-order mark of a UTF encoding.

    Raises ``ExportError`` that names byte and line where the bytes are not of that encoding, hold
    NUL characters, nothing at all, or a web page; ``IncompleteExport`` where the last character is
    cut in two.
    """
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        raise _undecodable(name, content, encoding, error) from error
    if codecs.lookup(encoding).name.startswith("utf"):
        text = text.removeprefix("\ufeff")
    if "\0" in text:
        raise _nul(name, text)
    if not text.isascii():
        _refuse_surrogates(name, text, encoding)
    if not text or text.isspace():
        raise ExportError("is empty", name=name, fix="Export it again from the source.")
    if _WEB_PAGE.match(text):
        raise web_page(name)
    return text


def web_page(name: str) -> ExportError:
    """What to say where an export holds markup in place of data."""
    return ExportError(
        "got a web page, not data: has the address or the log-in changed?", name=name, line=1,
        fix="Open the address, or the file, in a browser and look.",
    )


def line_of(text: str, position: int) -> int:
    """The physical line (from 1) that ``text[position]`` stands in."""
    return 1 + sum(1 for _ in _LINE_END.finditer(text, 0, position))


def _undecodable(
    name: str, content: bytes, encoding: str, error: UnicodeDecodeError
) -> ExportError:
    good = content[: error.start].decode(encoding, "replace")
    kind = ExportError
    if error.reason == "unexpected end of data" and error.end == len(content):
        kind = IncompleteExport
    return kind(
        f"byte {error.start} is not {encoding} text", name=name, line=line_of(good, len(good)),
        value=repr(content[error.start : error.start + 8])[2:-1], fix=_encoding_fix(content, encoding),
    )


def _refuse_surrogates(name: str, text: str, encoding: str) -> None:
    """A few encodings (utf-7, unicode_escape) let halves of characters through."""
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise ExportError(
            f"holds half of a character in {encoding}", name=name, line=line_of(text, error.start),
            fix="Set formats.encoding to what the source writes.",
        ) from error


def _encoding_fix(content: bytes, encoding: str) -> str:
    for bom, other in _BOMS:
        if content.startswith(bom) and not encoding.lower().startswith(other):
            return f'It begins like {other}: set formats.encoding = "{other}".'
    return "Set formats.encoding to what the source writes (often utf-8 or windows-1252)."


def _nul(name: str, text: str) -> ExportError:
    position = text.index("\0")
    return ExportError(
        f"holds {text.count(chr(0)):,} NUL characters", name=name, line=line_of(text, position),
        value=text[position : position + 8],
        fix="Files end like this after a power cut, or are utf-16: export again, or set "
        "formats.encoding.",
    )
