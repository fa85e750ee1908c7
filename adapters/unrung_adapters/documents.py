"""JSON text to a document, under the strict reading of RFC 8259."""

from __future__ import annotations

import json
import re
from math import isinf
from typing import Any

from unrung.errors import ExportError, IncompleteExport
from unrung_adapters.decode import line_of, web_page
from unrung_adapters.numerals import SourceNumber

_SHOWN = 8
"""Characters of the text in a message: enough to find the place, too few for a name."""
_FIX = "Look at this place of the file; the source writes JSON that is not JSON (RFC 8259)."
_CUT = re.compile(r"-|t|tr|tru|f|fa|fal|fals|n|nu|nul|[.eE][-+]?|\\?u[0-9a-fA-F]{0,4}|\\")
"""What can be left over of a word, a number or an escape that the end of the text cut in two."""


def document(name: str, text: str) -> Any:
    """The document of a JSON text; its numbers stay texts (``SourceNumber``), as written.

    Raises ``ExportError`` for what is not JSON (NaN and Infinity included), for a member name
    twice in one object, for a number beyond the reach of a double, for nesting too deep, and for a
    web page; ``IncompleteExport`` where the text ends too early.
    """
    if text.lstrip()[:1] == "<":
        raise web_page(name)
    try:
        return json.loads(
            text, parse_int=SourceNumber, parse_float=_float, parse_constant=_constant,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        raise _not_json(name, text, error) from error
    except _Refused as error:
        raise ExportError(str(error), name=name, value=error.value, fix=error.fix) from error
    except RecursionError as error:
        raise ExportError(
            "is nested too deep", name=name, fix="No export of rows is: look at the file."
        ) from error


class _Refused(Exception):
    def __init__(self, reason: str, value: str, fix: str = _FIX) -> None:
        self.value, self.fix = value, fix
        super().__init__(reason)


def _float(text: str) -> SourceNumber:
    if ("e" in text or "E" in text) and isinf(float(text)):
        raise _Refused("holds a number that is too large", text, "Look at it in the source.")
    return SourceNumber(text)


def _constant(word: str) -> Any:
    raise _Refused("holds a number that JSON does not have", word)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))  # type: ignore[func-returns-value]
        raise _Refused("has a member name twice in one object", twice)
    return members


def _not_json(name: str, text: str, error: json.JSONDecodeError) -> ExportError:
    line, rest = line_of(text, error.pos), text[error.pos :].strip()
    if error.msg.startswith("Unterminated string") or not rest or _CUT.fullmatch(rest):
        return IncompleteExport(
            "the JSON ends too early", name=name, line=line,
            fix="Wait until it is written whole, or export it again.",
        )
    if error.msg == "Extra data":
        return ExportError(
            "holds more than one JSON document", name=name, line=line, value=rest[:_SHOWN],
            fix="Set formats.json_lines = true where each line is a row; else an export must hold one "
            "document, such as one array of rows.",
        )
    return ExportError(f"is not JSON: {error.msg}", name=name, line=line, value=rest[:_SHOWN], fix=_FIX)
