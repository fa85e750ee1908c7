"""Compressed exports: bounded, whole, and one file at a time."""

from __future__ import annotations

import gzip
import io
import tracemalloc
import zipfile
from collections.abc import Callable
from typing import Any

import pytest

from adapters.exports import export, mapping, one, read_csv
from unrung.errors import ExportError, IncompleteExport
from unrung_adapters.unpack import unpacked

TEXT = b"at,item,units,amount,id\n2026-10-31T20:41:07Z,Stout,1,6.50,A1\n"
MEBIBYTE = 1 << 20


def zipped(*files: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return out.getvalue()


def bytes_of(content: bytes, compression: str, **settings: Any) -> bytes:
    return unpacked(export(content, "sales.zip"), mapping(compression=compression, **settings))


@pytest.mark.parametrize(
    ("content", "compression"),
    [
        (TEXT, "none"), (gzip.compress(TEXT, mtime=0), "gzip"), (zipped(("till/sales.csv", TEXT)), "zip"),
        (gzip.compress(TEXT[:20], mtime=0) + gzip.compress(TEXT[20:]), "gzip"),
        (zipped(("till/", b""), ("till/sales.csv", TEXT)), "zip"),
        (zipped(("sales.csv", TEXT), method=zipfile.ZIP_STORED), "zip"),
    ],
)  # fmt: skip
def test_an_export_is_unpacked_as_declared(content: bytes, compression: str) -> None:
    assert bytes_of(content, compression) == TEXT
    assert one(read_csv(content, mapping(compression=compression))).item == "Stout"


def encrypted() -> bytes:
    """A zip whose one member says it is encrypted (bit 0 of its flags; PKWARE APPNOTE 4.4.4)."""
    content = bytearray(zipped(("sales.csv", TEXT)))
    content[6] |= 1
    content[content.index(b"PK\x01\x02") + 8] |= 1
    return bytes(content)


def damaged(content: bytes, at: int) -> bytes:
    return content[:at] + bytes([content[at] ^ 0xFF]) + content[at + 1 :]


@pytest.mark.parametrize(
    ("content", "compression", "words"),
    [
        (gzip.compress(TEXT, mtime=0), "none", 'is a gzip file.*formats.compression = "gzip"'),
        (zipped(("a", TEXT)), "none", 'is a zip file.*formats.compression = "zip"'),
        (TEXT, "gzip", "is not a gzip file"), (TEXT, "zip", "is not a zip file"),
        (zipped(), "zip", "holds 0 files"), (zipped(("a", TEXT), ("b", TEXT)), "zip", "holds 2 files"),
        (zipped(("../a.csv", TEXT)), "zip", "points outside"),
        (zipped(("/etc/a.csv", TEXT)), "zip", "points outside"),
        (zipped(("C:\\a.csv", TEXT)), "zip", "points outside"),
        (zipped(("a\\..\\..\\b", TEXT)), "zip", "points outside"),
        (encrypted(), "zip", "^sales.zip: is encrypted"),
        (zipped(("a", TEXT), method=zipfile.ZIP_BZIP2), "zip", "rare method"),
        (zipped(("a", TEXT), method=zipfile.ZIP_LZMA), "zip", "rare method"),
        (damaged(gzip.compress(TEXT, mtime=0), 15), "gzip", "damaged gzip"),
        (damaged(gzip.compress(TEXT, mtime=0), -6), "gzip", "damaged gzip"),
        (damaged(zipped(("a", TEXT)), 40), "zip", "damaged zip"),
        (gzip.compress(TEXT, mtime=0) + b"more", "gzip", "something follows"),
    ],
)  # fmt: skip
def test_what_is_not_as_declared_or_not_sound_is_refused(
    content: bytes, compression: str, words: str
) -> None:
    with pytest.raises(ExportError, match=words) as caught:
        bytes_of(content, compression)
    assert caught.value.name == "sales.zip" and not isinstance(caught.value, IncompleteExport)


@pytest.mark.parametrize("compression", ["gzip", "zip"])
def test_a_packed_file_that_is_cut_off_waits_for_the_rest(compression: str) -> None:
    whole = gzip.compress(TEXT, mtime=0) if compression == "gzip" else zipped(("sales.csv", TEXT))
    for cut in (len(whole) // 2, len(whole) // 4 + 4):
        with pytest.raises(IncompleteExport):
            bytes_of(whole[:cut], compression)


BOMBS: dict[str, tuple[Callable[[], bytes], str]] = {
    "gzip": (lambda: gzip.compress(bytes(200 * MEBIBYTE), 1), "gzip"),
    "zip": (lambda: zipped(("bomb", bytes(200 * MEBIBYTE))), "zip"),
    "many members": (lambda: gzip.compress(gzip.compress(bytes(50 * MEBIBYTE))) * 2000, "gzip"),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_refused_without_being_unpacked(bomb: str) -> None:
    made, compression = BOMBS[bomb]
    content = made()
    tracemalloc.start()
    with pytest.raises(ExportError, match="is bigger than 1,048,576 bytes"):
        bytes_of(content, compression, max_bytes=MEBIBYTE)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < len(content) + 8 * MEBIBYTE


def test_a_zip_that_lies_about_its_size_is_bounded_too() -> None:
    """The size in both headers says 10 bytes (APPNOTE 4.4.9); the stream holds 8 MiB."""
    content = bytearray(zipped(("bomb", bytes(8 * MEBIBYTE))))
    for header, offset in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        at = content.index(header) + offset
        content[at : at + 4] = (10).to_bytes(4, "little")
    with pytest.raises(ExportError, match=r"damaged zip|is bigger than"):
        bytes_of(bytes(content), "zip", max_bytes=MEBIBYTE)
