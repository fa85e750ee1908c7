"""Compiled templates are kept where Python keeps the program's own bytecode, and never believed wrongly."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from jinja2 import Environment

from unrung.templates import environment


@pytest.fixture
def patch(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    return monkeypatch


@pytest.fixture
def folder(tmp_path: Path, patch: pytest.MonkeyPatch) -> Path:
    patch.setattr(sys, "dont_write_bytecode", False)
    patch.setattr(sys, "pycache_prefix", None)
    write(tmp_path, "Poured: {{ volume }}")
    return tmp_path


def write(folder: Path, text: str) -> None:
    (folder / "day.html.j2").write_text(text)


def shown(folder: Path) -> str:
    made = environment(folder, autoescape=True, filters={"twice": lambda text: text * 2})
    return made.get_template("day.html.j2").render(volume="<3 l")


def kept(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.jinja-*"))


def never(*_: object, **__: object) -> None:
    raise AssertionError("compiled again")


def test_it_is_compiled_once_and_the_same_thereafter(folder: Path, patch: pytest.MonkeyPatch) -> None:
    first = shown(folder)
    assert first == "Poured: &lt;3 l"
    (one,) = kept(folder)
    assert one.parent == folder / "__pycache__" and one.name.startswith("day.html.")
    assert list(one.parent.iterdir()) == [one]
    patch.setattr(Environment, "compile", never)
    assert shown(folder) == first


def test_an_edited_template_is_compiled_anew(folder: Path) -> None:
    shown(folder)
    write(folder, "{{ volume | twice }} poured")
    assert shown(folder) == "&lt;3 l&lt;3 l poured"


@pytest.mark.parametrize("content", [b"", b"j2", b"\x80\x04garbage", bytes(4096)])
def test_what_cannot_be_read_back_is_compiled_anew(folder: Path, content: bytes) -> None:
    first = shown(folder)
    (one,) = kept(folder)
    for damaged in (content, one.read_bytes()[:40] + content, one.read_bytes()[:-9]):
        one.write_bytes(damaged)
        assert shown(folder) == first


def test_where_python_writes_no_bytecode_none_is_written(folder: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(sys, "dont_write_bytecode", True)
    assert shown(folder) == "Poured: &lt;3 l"
    assert [path.name for path in folder.iterdir()] == ["day.html.j2"]


def test_it_is_kept_where_python_was_told_to_keep_its_own(folder: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(sys, "pycache_prefix", str(folder / "elsewhere"))
    shown(folder)
    (one,) = kept(folder)
    assert folder / "elsewhere" in one.parents


def test_where_nothing_can_be_kept_it_is_shown_all_the_same(folder: Path, patch: pytest.MonkeyPatch) -> None:
    (folder / "__pycache__").write_text("a file")
    assert shown(folder) == "Poured: &lt;3 l"
    patch.setattr(sys.implementation, "cache_tag", None)
    assert shown(folder) == "Poured: &lt;3 l"
