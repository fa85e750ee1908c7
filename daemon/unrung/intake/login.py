"""The secret of a polled feed: where it is found, and in what form it travels."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote, quote_plus

from unrung.errors import ConfigError
from unrung.poll_settings import Poll
from unrung.secret_file import secret_from


@dataclass(frozen=True, slots=True)
class Login:
    """What goes with a request to the feed's own origin, and nowhere else."""

    headers: tuple[tuple[str, str], ...] = ()
    query: tuple[tuple[str, str], ...] = ()
    secrets: tuple[str, ...] = ()
    """Every form of the secret, to be taken out of messages."""

    def __repr__(self) -> str:
        return "Login(…)"


def login_of(poll: Poll, environ: Mapping[str, str], folder: str) -> Login:
    """The login of a feed; a relative ``secret_file`` starts at ``folder``. Raises ConfigError."""
    if poll.auth == "none":
        return Login()
    path = Path(folder) / poll.secret_file if poll.secret_file else None
    secret = secret_from(environ, poll.secret_env, path).strip()
    if not secret.isprintable() or (poll.auth in ("bearer", "header") and not secret.isascii()):
        raise ConfigError(["the secret holds characters that cannot be sent; was it copied whole?"])
    pair = base64.b64encode(f"{poll.user}:{secret}".encode()).decode()
    forms = (secret, quote(secret), quote(secret, safe=""), quote_plus(secret), pair)
    match poll.auth:
        case "basic":
            return Login(headers=(("Authorization", f"Basic {pair}"),), secrets=forms)
        case "bearer":
            return Login(headers=(("Authorization", f"Bearer {secret}"),), secrets=forms)
        case "header":
            return Login(headers=((poll.auth_name, secret),), secrets=forms)
    return Login(query=((poll.auth_name, secret),), secrets=forms)
