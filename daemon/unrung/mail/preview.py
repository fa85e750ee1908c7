"""A message as files to look at: the ``.eml`` that a mail program opens, and its HTML alone."""

from __future__ import annotations

from email import message_from_bytes
from email.policy import default
from pathlib import Path


def save(message: bytes, folder: Path, name: str) -> tuple[Path, Path]:
    """Writes ``name.eml`` and ``name.html`` into ``folder`` and returns both paths."""
    folder.mkdir(parents=True, exist_ok=True)
    eml, page = folder / f"{name}.eml", folder / f"{name}.html"
    eml.write_bytes(message)
    page.write_text(html_of(message), "utf-8", newline="\n")
    return eml, page


def html_of(message: bytes) -> str:
    """The HTML part; empty where there is none."""
    body = message_from_bytes(message, policy=default).get_body(("html",))
    return str(body.get_content()).replace("\r\n", "\n") if body is not None else ""
