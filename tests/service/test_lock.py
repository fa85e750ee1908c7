from __future__ import annotations

from pathlib import Path

import pytest

from service.real import KILL, running, unrung, words
from unrung.errors import AlreadyRunning, ConfigError
from unrung.service.lock import is_held, one_instance
from venue_folder import make_venue


def test_a_second_copy_ends_with_3_and_names_the_first_and_a_kill_frees_the_folder(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")
    with running(venue.path) as service:
        for command in ("run", "catch-up"):
            second = unrung(command, venue.path)
            assert second.returncode == 3
            assert f"process {service.process.pid}" in words(second.stderr)
        assert is_held(venue.path) == (True, service.process.pid)
        service.stop(KILL)
        assert is_held(venue.path)[0] is False
        assert unrung("catch-up", venue.path).returncode == 0


def test_a_lock_file_left_behind_holds_nobody_off(tmp_path: Path) -> None:
    (tmp_path / ".unrung.lock").touch()
    (tmp_path / ".unrung.pid").write_text("1")
    with one_instance(tmp_path):
        assert is_held(tmp_path)[0] is True
        with pytest.raises(AlreadyRunning), one_instance(tmp_path):
            raise AssertionError("two at once")
    assert is_held(tmp_path) == (False, None)


def test_a_look_at_the_lock_leaves_no_trace_in_a_fresh_folder(tmp_path: Path) -> None:
    assert is_held(tmp_path) == (False, None)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["run", "catch-up"])
def test_a_folder_that_is_not_there_is_wrong_use_and_not_a_lock(command: str, tmp_path: Path) -> None:
    ended = unrung(command, tmp_path / "nowhere")
    assert ended.returncode == 2
    assert "nowhere is not a folder" in words(ended.stderr)
    with pytest.raises(ConfigError), one_instance(tmp_path / "nowhere"):
        raise AssertionError("held what is not there")
