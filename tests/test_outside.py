"""Packages from outside that cannot be fetched are asked for once, and not by every process of a run."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

import outside


@pytest.mark.skipif(os.name != "posix", reason="the npm that fails is a shell script")
def test_a_network_that_does_not_answer_is_asked_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(outside.HERE / "package.json", tmp_path)
    npm = tmp_path / "npm"
    npm.write_text('#!/bin/sh\necho asked >> "$(dirname "$0")/calls"\nexit 1\n', "utf-8")
    npm.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setattr(outside, "HERE", tmp_path)
    monkeypatch.setattr(outside, "FAILED", tmp_path / ".npm.failed")
    fetched = outside._fetched.__wrapped__
    assert [fetched(), fetched()] == ["npm could not fetch it: CalledProcessError"] * 2
    assert (tmp_path / "calls").read_text("utf-8").count("asked") == 1
    os.utime(outside.FAILED, (0, 0))
    assert fetched() and (tmp_path / "calls").read_text("utf-8").count("asked") == 2
