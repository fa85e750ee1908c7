"""Coverage-guided fuzzing of the readers and of unpacking, by hand (Linux, with ``atheris`` installed).

    PYTHONPATH=daemon:adapters:tests python tests/bench/fuzz_adapters.py --runs 1000000 --seconds 1200

The first two bytes of an input choose the reader, what a row is, how the source writes, how the bytes are
packed, and whether the rest is the export itself or its cells (ended by NUL), put together as rows that are
well formed. Held: nothing but ``ExportError`` comes out, with a reason and a fix; every value goes into the
store (64-bit integers, whole characters); and the bound on unpacked bytes holds. What breaks that is kept in
``--into`` with its traceback, each kind once, and fuzzing goes on.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import hashlib
import io
import json
import os
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

import atheris  # type: ignore[import-not-found, unused-ignore]

with atheris.instrument_imports(include=["unrung_adapters", "zipfile"]):
    import zipfile

    from unrung_adapters import csv_rows, json_rows, unpack

from adapters.exports import FIELDS, FORMATS, OUTSIDE, export, mapping
from adapters.test_contract import ROWS, as_csv, as_json
from unrung.errors import ExportError
from unrung.mapping import Mapping
from unrung.records import AnyRecord, Reject

MAX_BYTES = 1 << 16
SLOW_SECONDS = 2.0
INT64 = 1 << 63
READERS = {"csv": csv_rows.read, "json": json_rows.read}
WRITTEN: tuple[dict[str, Any], ...] = (
    {}, {"encoding": "windows-1252", "delimiter": ";", "decimal": ",", "thousands": "."},
    {"encoding": "utf-16", "delimiter": "\t", "time": "%m/%d/%Y %I:%M %p"},
    {"header": False, "skip_lines": 1, "time": "%d.%m.%Y %H:%M:%S", "decimal": ",", "delimiter": ";"},
    {"time": "epoch_s", "order": "none", "kinds_strict": True},
    {"rows": "/*", "time": "epoch_ms", "currency_marks": ("$",), "thousands": ","},
)
"""How sources write: each with its own encoding, delimiter, numbers and times."""
WORDS = (
    r"\xef\xbb\xbf", r"\xff\xfe", r"\\ud800", r"\\u0000", r"\xed\xa0\x80", r"\xc2\xa0", r"\xe2\x80\xaf",
    r"\x00", r"\x0d", r"\x85", r"\"\"", r"\x1f\x8b\x08", r"PK\x03\x04", r"PK\x05\x06", "<html", "[[[[[[[[",
    "{}", "null", "true", "NaN", "Infinity", "1e400", "1E-99", "-0", "99999999999999999999", "0.0000001",
    "1,234.5", "1.234,5", "(1,50)", "1/2 us_bbl", "=1+1", "2026-02-30T00:00Z", "24:00:00", "T23:59:60Z",
    "+14:00", "-23:59", "12/31/2026 12:00 AM", "1761940867000",
)
"""Texts that readers stumble over, as libFuzzer's dictionary writes them."""
CELLS = 128
"""From this second byte on, the rest of an input is cells."""
PACKED = ("none", "gzip", "zip", "gzip of", "zip of", "gzip of, damaged", "zip of, damaged", "none")
"""How the bytes come: as they are; called packed and not; packed; packed with one byte changed."""


def main() -> int:
    options = _options()
    options.into.mkdir(parents=True, exist_ok=True)
    told = _Told(options.into, options.runs, time.monotonic() + options.seconds)
    seeds = options.corpus or Path(tempfile.mkdtemp(prefix="fuzz-corpus-"))
    seeds.mkdir(parents=True, exist_ok=True)
    for content in _seeds():
        (seeds / hashlib.sha256(content).hexdigest()[:16]).write_bytes(content)
    words = Path(tempfile.mkstemp(prefix="fuzz-words-")[1])
    words.write_text("".join(f'"{word}"\n' for word in WORDS), encoding="ascii")
    told_libfuzzer = [f"-max_len={options.max_len}", "-timeout=60", f"-dict={words}"]
    atheris.Setup([sys.argv[0], str(seeds), *told_libfuzzer], told.one)
    atheris.Fuzz()
    return 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Fuzz the readers.")
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seconds", type=float, default=1200)
    parser.add_argument("--max-len", type=int, default=2048)
    parser.add_argument("--corpus", type=Path, help="Kept between runs; else a folder of its own.")
    parser.add_argument("--into", type=Path, default=Path("fuzz-crashes"))
    return parser.parse_args()


class _Told:
    """What is counted, and the ends of it."""

    def __init__(self, into: Path, runs: int, until: float) -> None:
        self.into, self.runs, self.until = into, runs, until
        self.started = time.monotonic()
        self.count = 0
        self.seen: Counter[str] = Counter()
        self.crashes: Counter[str] = Counter()

    def one(self, data: bytes) -> None:
        start = time.process_time()  # a busy machine must not look like a slow reader
        try:
            self.seen[_read(data)] += 1
        except Exception as error:  # noqa: BLE001 - that is what is looked for
            self._keep(data, traceback.extract_tb(error.__traceback__)[-1], traceback.format_exc())
        took = time.process_time() - start
        if took > SLOW_SECONDS:
            self._keep(data, "slow", f"{took:.1f} seconds")
        self.count += 1
        if self.count >= self.runs or (self.count % 1000 == 0 and time.monotonic() > self.until):
            self._end()

    def _keep(self, data: bytes, where: object, text: str) -> None:
        name = hashlib.sha256(str(where).encode()).hexdigest()[:12]
        self.crashes[name] += 1
        if self.crashes[name] == 1:
            (self.into / f"{name}.bin").write_bytes(data)
            (self.into / f"{name}.txt").write_text(text, encoding="utf-8")

    def _end(self) -> None:
        seconds = time.monotonic() - self.started
        print(f"{self.count:,} executions in {seconds:.0f} s, {self.count / seconds:.0f} a second")
        for what, count in self.seen.most_common():
            print(f"  {count:>9,}  {what}")
        print(f"{len(self.crashes)} kinds of crash: {dict(self.crashes)}", flush=True)
        os._exit(1 if self.crashes else 0)


def _read(data: bytes) -> str:
    """What became of one input; raises where a promise is broken."""
    if len(data) < 3:
        return "too short"
    adapter, carries, written, packed = _chosen(data[0], data[1])
    rest = _rows_of(data[3:], adapter, carries) if data[1] >= CELLS else data[3:]
    content, compression = _packed(packed, data[2], rest)
    chosen = _mapping(adapter, carries, written, compression)
    sent = export(content)
    try:
        if len(unpack.unpacked(sent, chosen)) > MAX_BYTES:
            raise AssertionError("more bytes than max_bytes")
        rows = list(READERS[adapter](sent, chosen))
    except ExportError as error:
        if not (error.reason and error.fix and str(error)):
            raise AssertionError("an error without a reason or a fix") from error
        str(error).encode()
        return f"{adapter} refused"
    for row in rows:
        _check(row)
    return f"{adapter} read, {'with' if any(isinstance(row, Reject) for row in rows) else 'without'} rejects"


def _chosen(first: int, second: int) -> tuple[str, str, int, str]:
    adapter, first = ("csv", "json")[first % 2], first // 2
    carries, second = tuple(ROWS)[first % len(ROWS)], second % CELLS
    return adapter, carries, second % len(WRITTEN), PACKED[second // len(WRITTEN) % len(PACKED)]


def _rows_of(cells: bytes, adapter: str, carries: str) -> bytes:
    """Rows of the cells, as many as there are, in the reader's shape and UTF-8."""
    texts = [cell.decode("utf-8", "ignore") for cell in cells.split(b"\0")]
    names = list(FIELDS[carries].values())
    rows = [dict(zip(names, texts[at : at + len(names)], strict=False))
            for at in range(0, len(texts), len(names))]
    if adapter == "json":
        return json.dumps(rows).encode()
    out = io.StringIO()
    writer = csv.DictWriter(out, names)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def _packed(how: str, at: int, content: bytes) -> tuple[bytes, str]:
    """The bytes as they come, and what ``formats.compression`` says."""
    kind, _, more = how.partition(" ")
    if not more:
        return content, kind
    packed = gzip.compress(content, 1, mtime=0) if kind == "gzip" else _zipped(content)
    if "damaged" in more and packed:
        place = at * len(packed) // 256
        packed = packed[:place] + bytes([packed[place] ^ (1 << at % 8)]) + packed[place + 1 :]
    return packed, kind


def _zipped(content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("an export"), content)
    return out.getvalue()


_MAPPINGS: dict[tuple[str, str, int, str], Mapping] = {}


def _mapping(adapter: str, carries: str, written: int, compression: str) -> Mapping:
    key = (adapter, carries, written, compression)
    if key not in _MAPPINGS:
        formats = {**FORMATS[carries], **WRITTEN[written], "compression": compression}
        fields = {name: f"/{source}" if adapter == "json" else source
                  for name, source in FIELDS[carries].items()}
        if adapter == "csv" and not formats.get("header", True):
            fields = {name: str(number) for number, name in enumerate(fields, 1)}
        if adapter == "csv":
            formats.pop("rows", None)
        _MAPPINGS[key] = mapping(carries, fields, max_bytes=MAX_BYTES, **formats)
    return _MAPPINGS[key]


def _check(row: AnyRecord | Reject) -> None:
    """Whether the store can hold what came out, and a person can read it."""
    if isinstance(row, Reject):
        if not (row.reason and row.fix):
            raise AssertionError("a reject without a reason or a fix")
        values: list[Any] = [row.line, row.value, row.reason, row.fix, row.field, *row.cells.values()]
    else:
        values = list(row.model_dump().values())
    for value in values:
        if isinstance(value, int) and not -INT64 <= value < INT64:
            raise AssertionError(f"a number that the store cannot hold: {value}")
        if isinstance(value, str):
            value.encode()


def _seeds() -> list[bytes]:
    """Rows of every kind in every shape, and files from outside."""
    found = []
    for first in range(2 * len(ROWS)):
        adapter, carries, _, _ = _chosen(first, 0)
        content = as_csv(ROWS[carries]) if adapter == "csv" else as_json(ROWS[carries])
        found += [bytes([first, second, 0]) + content for second in range(len(WRITTEN) * len(PACKED))]
        cells = b"\0".join(cell.encode() for row in ROWS[carries] for cell in row.values())
        found += [bytes([first, CELLS + second, 0]) + cells for second in range(len(WRITTEN))]
    for path in sorted(OUTSIDE.rglob("*")):
        if path.is_file() and path.stat().st_size < 4096:
            found.append(bytes([path.suffix == ".json", 0, 0]) + path.read_bytes())
    return found


if __name__ == "__main__":
    sys.exit(main())
