from __future__ import annotations

import os
from pathlib import Path

import pytest

from unrung.errors import ConfigError
from unrung.mail.secret import password
from unrung.settings import Mail


def test_without_a_log_in_there_is_no_password() -> None:
    assert password(Mail(), {"UNRUNG_MAIL_PASSWORD": "x"}) == ""


def test_the_environment_wins_over_the_file(tmp_path: Path) -> None:
    mail = Mail(user="bar", password_env="BAR_PW", password_file="secret")
    (tmp_path / "secret").write_text("from file\n")
    (tmp_path / "secret").chmod(0o600)
    assert password(mail, {"BAR_PW": "from env"}, str(tmp_path)) == "from env"
    assert password(mail, {}, str(tmp_path)) == "from file"


@pytest.mark.skipif(os.name != "posix", reason="Windows keeps permissions elsewhere")
@pytest.mark.parametrize(
    ("mode", "refused"),
    [(0o600, False), (0o400, False), (0o640, True), (0o604, True), (0o620, True), (0o644, True)],
)
def test_a_file_that_others_can_read_is_refused(tmp_path: Path, mode: int, refused: bool) -> None:
    path = tmp_path / "secret"
    path.write_text("pw\n")
    path.chmod(mode)
    mail = Mail(user="bar", password_file=str(path))
    if not refused:
        assert password(mail, {}) == "pw"
        return
    with pytest.raises(ConfigError, match="chmod 600"):
        password(mail, {})


@pytest.mark.parametrize("content", ["", "\n"])
def test_an_empty_file_is_an_error_that_names_it(tmp_path: Path, content: str) -> None:
    path = tmp_path / "secret"
    path.write_text(content)
    path.chmod(0o600)
    with pytest.raises(ConfigError, match="secret: the password file is empty"):
        password(Mail(user="bar", password_file=str(path)), {})


def test_a_log_in_without_any_password_names_both_ways() -> None:
    with pytest.raises(ConfigError, match=r"UNRUNG_MAIL_PASSWORD.*password_file"):
        password(Mail(user="bar"), {})
    with pytest.raises(ConfigError, match="cannot be read"):
        password(Mail(user="bar", password_file="/no/such/file"), {})
