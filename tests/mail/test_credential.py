from __future__ import annotations

from pathlib import Path

from unrung.mail.secret import CREDENTIAL, password
from unrung.settings import Mail


def test_a_password_that_systemd_hands_over_is_used(tmp_path: Path) -> None:
    (tmp_path / CREDENTIAL).write_text("from systemd\n")
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert password(Mail(user="bar"), environ) == "from systemd"
    assert password(Mail(user="bar"), {**environ, "UNRUNG_MAIL_PASSWORD": "first"}) == "first"
    assert password(Mail(), environ) == ""
