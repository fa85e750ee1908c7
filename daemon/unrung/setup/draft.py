"""One feed while it is being understood: its sample files, its columns, what was made of them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from unrung.errors import UnrungError
from unrung.mapping import Carries
from unrung.records import Export
from unrung.setup.csv_shape import csv_shape, csv_sheet
from unrung.setup.doubt import Notes
from unrung.setup.encodings import encoding_of
from unrung.setup.facts import Facts
from unrung.setup.footers import with_footers
from unrung.setup.json_shape import JsonShape, array_pointers, json_sheet
from unrung.setup.readers import document, documents_by_line, unpacked
from unrung.setup.sheet import Sheet
from unrung.setup.words import plain

_MARKUP = re.compile(r"\s*<(?:[!?]|[A-Za-z][\w:]*[\s>/])")
_MAGIC = ((b"\x1f\x8b", "gzip"), (b"PK\x03\x04", "zip"))


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample file: its name, its bytes, and when it was last written (UTC milliseconds)."""

    name: str
    content: bytes
    mtime_ms: int
    path: str = ""

    @property
    def written(self) -> datetime:
        return datetime.fromtimestamp(self.mtime_ms / 1000, UTC).replace(tzinfo=None)


@dataclass
class Draft:
    """A feed as far as it is understood."""

    carries: Carries
    name: str
    samples: list[Sample]
    adapter: str = "csv"
    export: str = "append"
    resolution: str = "single"
    formats: dict[str, Any] = field(default_factory=dict)
    fields: dict[str, Any] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    """Remarks for the config file, by the key they stand beside."""
    sheet: Sheet = field(default_factory=lambda: Sheet([]))
    facts: list[Facts] = field(default_factory=list)
    beside: dict[str, str] = field(default_factory=dict)
    """Columns that are no record field and tell something all the same: field to column."""
    time_forms: list[str] = field(default_factory=list)

    @property
    def side(self) -> str:
        """"rings", "pours" (readings too), or what else it carries."""
        return "pours" if self.carries == "readings" else self.carries

    @property
    def texts_of_time(self) -> list[str]:
        """The texts of the field that says when."""
        return self.texts(next(name for name in ("at", "start", "end", "day") if name in self.fields))

    def header_words(self, name: str) -> set[str]:
        """The words in the headers of a mapped field."""
        return {word for one in self.fields[name] for word in plain(self.sheet.named(one).title).split()}

    def texts(self, name: str) -> list[str]:
        """The texts of a mapped field, row by row, as the reader will join them."""
        columns = [self.sheet.named(one).texts for one in self.fields[name]]
        return [" ".join(parts) for parts in zip(*columns, strict=True)]


def open_samples(
    carries: Carries, name: str, samples: list[Sample], notes: Notes
) -> tuple[Draft, list[Sheet]]:
    """The samples as sheets: one for a CSV, one for each array that could hold the rows of a JSON.

    Raises UnrungError where a file cannot be looked into at all.
    """
    draft = Draft(carries, name, samples)
    contents = [_bare(sample, draft) for sample in samples]
    found = encoding_of(contents)
    encoding = notes.settle(f"{name}: encoding", found)
    draft.formats["encoding"], draft.why["encoding"] = encoding, found.why
    texts = [_decoded(sample, content, encoding) for sample, content in zip(samples, contents, strict=True)]
    if all(text.lstrip()[:1] in ("{", "[") for text in texts):
        return draft, _json_sheets(draft, texts)
    return draft, [_csv_sheet(draft, texts)]


def _bare(sample: Sample, draft: Draft) -> bytes:
    for magic, kind in _MAGIC:
        if sample.content.startswith(magic):
            draft.formats["compression"] = kind
            return unpacked(Export(sample.name, sample.content, 0), kind)
    if not sample.content.strip():
        raise UnrungError(f"{sample.name} is empty; give a file with a day of rows in it")
    return sample.content


def _decoded(sample: Sample, content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        raise UnrungError(
            f"{sample.name} is no text: byte {error.start} is not {encoding}. Give exports as CSV or JSON, "
            "all of one source"
        ) from error


def _csv_sheet(draft: Draft, texts: list[str]) -> Sheet:
    shape = csv_shape(max(texts, key=len))
    if any(_MARKUP.match(text) for text in texts):
        raise UnrungError(
            f"{draft.samples[0].name} is a web page or XML, whatever its ending; export it as CSV or JSON, "
            "or open it in a spreadsheet and save it as 'CSV UTF-8'"
        )
    if shape is None:
        raise UnrungError(
            f"{draft.samples[0].name} is neither JSON nor a table of cells that a comma, semicolon, "
            "tab or bar divides; export it as CSV or JSON"
        )
    shape = with_footers(texts, shape)
    if shape.delimiter != ",":
        draft.formats["delimiter"] = shape.delimiter
    if shape.quote != '"':
        draft.formats["quote"] = shape.quote
    if shape.skip_lines:
        draft.formats["skip_lines"] = shape.skip_lines
    if not shape.has_header:
        draft.formats["header"] = False
    if shape.skips:
        draft.formats["skip_rows"] = [
            {"column": column, "values": list(values)} for column, values in shape.skips
        ]
    return csv_sheet(texts, shape)


def _json_sheets(draft: Draft, texts: list[str]) -> list[Sheet]:
    draft.adapter = "json"
    read = document
    if any(map(_is_by_line, texts)):
        draft.formats["json_lines"], read = True, documents_by_line
    documents = [read(one.name, text) for one, text in zip(draft.samples, texts, strict=True)]
    counts: dict[str, int] = {}
    for one in documents:
        for pointer, count in array_pointers(one).items():
            counts[pointer] = counts.get(pointer, 0) + count
    if not counts:
        raise UnrungError(f"{draft.samples[0].name} holds no array of objects, so no rows")
    most = max(counts.values())
    likely = sorted((p for p in counts if counts[p] >= 0.4 * most), key=lambda p: (-counts[p], -p.count("/")))
    sheets = []
    for pointer in likely[:4]:
        sheet = json_sheet(documents, JsonShape(pointer))
        sheet.rows_at = pointer
        sheets.append(sheet)
    return sheets


def _is_by_line(text: str) -> bool:
    """Whether each of the first lines is a document of its own: an object, and then another."""
    lines = [line.strip() for line in text.splitlines() if line.strip()][:20]
    return len(lines) > 1 and all(line[0] == "{" and line[-1] == "}" for line in lines)
