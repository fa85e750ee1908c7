"""Taking the compression off an export, never past the size that the feed allows."""

from __future__ import annotations

import io
import zipfile
import zlib

from unrung.errors import ExportError, IncompleteExport
from unrung.mapping import Mapping
from unrung.records import Export

_GZIP, _ZIP = b"\x1f\x8b", b"PK\x03\x04"
_COMPOUND = bytes.fromhex("d0cf11e0a1b11ae1")
_CHUNK = 1 << 20


def unpacked(export: Export, mapping: Mapping) -> bytes:
    """The export's bytes without ``formats.compression``, at most ``mapping.max_bytes`` of them.

    Raises ``ExportError`` where there are more (without unpacking them), where the bytes are not
    what ``formats.compression`` says, and where they are damaged; ``IncompleteExport`` where they
    end too early.
    """
    kind, content = mapping.formats.compression, export.content
    if not content:
        raise ExportError("is empty", name=export.name, fix="Export it again from the source.")
    if _is_workbook(content):
        raise ExportError(
            "is a spreadsheet's workbook", name=export.name,
            fix="Export it as CSV, or save its sheet as CSV in UTF-8.",
        )
    if kind == "gzip":
        return _gunzipped(export.name, content, mapping.max_bytes)
    if kind == "zip":
        return _unzipped(export.name, content, mapping.max_bytes)
    for name, magic in (("gzip", _GZIP), ("zip", _ZIP)):
        if content.startswith(magic):
            raise ExportError(
                f"is a {name} file", name=export.name, fix=f'Set formats.compression = "{name}".'
            )
    if len(content) > mapping.max_bytes:
        raise _too_big(export.name, mapping.max_bytes)
    return content


def _is_workbook(content: bytes) -> bool:
    """Office Open XML (ECMA-376, part 2) and OpenDocument (part 3) are zips that hold these. Workbooks of
    before are compound files (MS-CFB, section 2.2), as hardly anything else is that a till writes."""
    if not content.startswith(_ZIP):
        return content.startswith(_COMPOUND)
    return b"[Content_Types].xml" in content or b"application/vnd.oasis.opendocument" in content[:128]


def _gunzipped(name: str, content: bytes, limit: int) -> bytes:
    """Every member of a gzip file (RFC 1952 allows several), one after the other."""
    if not content.startswith(_GZIP[: len(content)]):
        raise _other_kind(name, "gzip")
    out, rest = io.BytesIO(), content
    while rest:
        if not rest.startswith(_GZIP[: len(rest)]):
            raise ExportError(
                "something follows the end of the gzip data", name=name, fix="Export it again."
            )
        rest = _gzip_member(name, rest, out, limit)
    return out.getvalue()


def _gzip_member(name: str, packed: bytes, out: io.BytesIO, limit: int) -> bytes:
    """Unpacks one member into ``out`` and returns what follows it."""
    inflate = zlib.decompressobj(wbits=16 + zlib.MAX_WBITS)
    try:
        while not inflate.eof:
            part = inflate.decompress(packed, min(_CHUNK, limit + 1))
            out.write(part)
            if out.tell() > limit:
                raise _too_big(name, limit)
            packed = inflate.unconsumed_tail
            if not part and not packed and not inflate.eof:
                raise IncompleteExport(
                    "the gzip data end too early", name=name, fix="Wait until it is written whole."
                )
    except zlib.error as error:
        raise ExportError(
            f"is a damaged gzip file ({error})", name=name, fix="Export it again."
        ) from error
    return inflate.unused_data


def _unzipped(name: str, content: bytes, limit: int) -> bytes:
    if not content.startswith(b"PK"[: len(content)]):
        raise _other_kind(name, "zip")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            member = _only_member(name, archive, limit)
            with archive.open(member) as packed:
                out = packed.read(limit + 1)
    except zipfile.BadZipFile as error:
        if content.startswith(_ZIP) and b"PK\x05\x06" not in content:
            raise IncompleteExport(
                "the zip file ends too early", name=name, fix="Wait until it is written whole."
            ) from error
        raise _damaged_zip(name, error) from error
    except (zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError) as error:
        raise _damaged_zip(name, error) from error
    if len(out) > limit:
        raise _too_big(name, limit)
    return out


def _only_member(name: str, archive: zipfile.ZipFile, limit: int) -> zipfile.ZipInfo:
    """The single file in a zip, if it may be opened at all."""
    members = [member for member in archive.infolist() if not member.is_dir()]
    if len(members) != 1:
        raise ExportError(
            f"holds {len(members)} files", name=name, fix="A zip export must hold exactly one file."
        )
    (member,) = members
    if _leaves_its_folder(member.filename):
        raise ExportError(
            "the name of the file inside points outside the zip", name=name, field="file name",
            value=member.filename, fix="Find out who made this file before using it.",
        )
    if member.flag_bits & 0x1:
        raise ExportError("is encrypted", name=name, fix="Export it without a password.")
    # Only deflate is unpacked in bounded steps by the standard library; bzip2 and lzma are not.
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ExportError(
            "is packed with a rare method", name=name, fix="Pack it as an ordinary zip (deflate)."
        )
    if member.file_size > limit:
        raise _too_big(name, limit)
    return member


def _leaves_its_folder(inside: str) -> bool:
    """Whether a member's name is absolute, has a drive letter, or climbs; nothing is written by
    that name here, but whoever made such a file did not export sales."""
    parts = inside.replace("\\", "/").split("/")
    return not parts[0] or ":" in parts[0] or ".." in parts


def _too_big(name: str, limit: int) -> ExportError:
    return ExportError(
        f"is bigger than {limit:,} bytes", name=name,
        fix="If that is right, raise max_bytes of the feed.",
    )


def _other_kind(name: str, kind: str) -> ExportError:
    return ExportError(
        f"is not a {kind} file", name=name, fix='Set formats.compression to what it is, or "none".'
    )


def _damaged_zip(name: str, error: Exception) -> ExportError:
    return ExportError(f"is a damaged zip file ({error})", name=name, fix="Export it again.")
