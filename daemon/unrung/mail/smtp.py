"""Handing one message to the mail server, with an outcome for every recipient.

The transaction is spoken step by step (RFC 5321): ``smtplib.sendmail`` forgets who was refused
when the data fail after all, and reports partial refusal only in its return value.
"""

from __future__ import annotations

import ipaddress
import smtplib
import ssl
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from email import message_from_bytes
from email.utils import parseaddr
from typing import Literal

from unrung.settings import Mail

State = Literal["ok", "retry", "refused"]
OUT_OF_TIME = (9, 10)
"""X509_V_ERR_CERT_NOT_YET_VALID and X509_V_ERR_CERT_HAS_EXPIRED of OpenSSL's x509_vfy.h."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one recipient.

    ``slow``: nothing will change until a person acts (log-in, certificate, wrong port), so the
    next try comes after the longest pause; quick ones would lock the account.
    """

    state: State
    text: str
    slow: bool = False


def send(
    message: bytes, mail: Mail, recipients: Sequence[str], password: str
) -> dict[str, Outcome]:
    """Offers ``message`` to ``mail.host`` once. Does not raise for anything a server can do.

    4xx answers and network faults: ``retry``. 5xx: ``refused``. A server that took the data and
    then went silent may have accepted them: ``retry``, and the same Message-ID lets readers drop
    the second copy. Everything waits at most ``mail.timeout_seconds`` per answer.
    """
    if not recipients:
        return {}
    server = _opened(mail, password)
    if isinstance(server, Outcome):
        return _all(recipients, server)
    try:
        return _transaction(server, message, recipients)
    except (OSError, smtplib.SMTPException, UnicodeError) as fault:
        return _all(recipients, _fault(fault, mail))
    finally:
        _leave(server)


def greet(mail: Mail, password: str) -> Outcome:
    """Connects, encrypts and logs in as for a mail, and leaves: nothing is sent. Does not raise."""
    server = _opened(mail, password)
    if isinstance(server, Outcome):
        return server
    _leave(server)
    said = f" and takes the log-in of {mail.user!r}" if mail.user else ""
    return Outcome("ok", f"{mail.host} port {mail.port} answers{said}")


def _opened(mail: Mail, password: str) -> smtplib.SMTP | Outcome:
    """A server that is ready for a mail, or what stands in the way."""
    if mail.security == "none" and not (mail.plain_allowed or _is_loopback(mail.host)):
        text = (
            f"{mail.host} is another machine, and mail to it would not be encrypted; set security "
            "to starttls or tls, or plain_allowed = true"
        )
        return Outcome("retry", text, slow=True)
    try:
        context = None if mail.security == "none" else _context(mail)
    except OSError as fault:
        text = f"ca_file {mail.ca_file!r} cannot be used as PEM certificates ({fault})"
        return Outcome("retry", text, slow=True)
    try:
        server = _connected(mail, context)
    except (OSError, smtplib.SMTPException, UnicodeError) as fault:
        return _fault(fault, mail)
    try:
        if mail.user:
            server.login(mail.user, password)
    except (OSError, smtplib.SMTPException, UnicodeError) as fault:
        _leave(server)
        return _fault(fault, mail)
    return server


def _connected(mail: Mail, context: ssl.SSLContext | None) -> smtplib.SMTP:
    """A greeted server, encrypted and verified unless ``security`` is none."""
    server: smtplib.SMTP
    if mail.security == "tls":
        server = smtplib.SMTP_SSL(
            mail.host, mail.port, timeout=mail.timeout_seconds, context=context
        )
    else:
        server = smtplib.SMTP(mail.host, mail.port, timeout=mail.timeout_seconds)
    try:
        server.ehlo_or_helo_if_needed()
        if mail.security == "starttls":
            server.starttls(context=context)
            server.ehlo()
    except (OSError, smtplib.SMTPException):
        _leave(server)
        raise
    return server


def _transaction(
    server: smtplib.SMTP, message: bytes, recipients: Sequence[str]
) -> dict[str, Outcome]:
    sender = parseaddr(str(message_from_bytes(message)["From"]))[1]
    code, said = server.mail(sender)
    if code != 250:
        return _all(recipients, _answer(code, said))
    outcomes: dict[str, Outcome] = {}
    accepted: list[str] = []
    for recipient in recipients:
        outcomes[recipient] = _offered(server, recipient)
        if outcomes[recipient].state == "ok":
            accepted.append(recipient)
    if accepted:
        outcomes.update(_all(accepted, _data(server, message)))
    return outcomes


def _offered(server: smtplib.SMTP, recipient: str) -> Outcome:
    # Pythons differ in what they make of an address with a line break in it; nobody means one.
    address = parseaddr(recipient)[1] if recipient.isprintable() else ""
    if not address.isascii() or not address.isprintable() or "@" not in address:
        return Outcome("refused", f"{recipient!r} is not a mail address that can be used")
    try:
        return _answer(*server.rcpt(address))
    except (OSError, smtplib.SMTPServerDisconnected) as fault:
        return Outcome("retry", f"the connection was lost before the mail was sent ({fault})")


def _data(server: smtplib.SMTP, message: bytes) -> Outcome:
    try:
        return _answer(*server.data(message))
    except smtplib.SMTPDataError as fault:
        return _answer(fault.smtp_code, fault.smtp_error)
    except (OSError, smtplib.SMTPServerDisconnected) as fault:
        return Outcome(
            "retry", f"the connection was lost while the mail was handed over ({fault}); it may "
            "have been taken, and is sent again under the same Message-ID",
        )


def _answer(code: int, said: bytes | str) -> Outcome:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    line = f"{code} {' '.join(text.split())}"[:300]
    if 200 <= code < 300:
        return Outcome("ok", line)
    return Outcome("refused" if 500 <= code < 600 else "retry", line)


def _fault(fault: Exception, mail: Mail) -> Outcome:
    """What a failed connection or log-in means, with the setting to look at."""
    where = f"{mail.host} port {mail.port}"
    if isinstance(fault, smtplib.SMTPAuthenticationError):
        said = _answer(fault.smtp_code, fault.smtp_error)
        text = f"log-in refused by {where} for {mail.user!r} ({said.text}); renew the password"
        return Outcome("retry", text, slow=500 <= fault.smtp_code < 600)
    if isinstance(fault, ssl.SSLCertVerificationError):
        text = (
            f"the certificate of {where} is not trusted ({fault.verify_message}); if the server "
            "is your own, set ca_file to the PEM file of its authority"
        )
        if fault.verify_code in OUT_OF_TIME:
            text = (
                f"the certificate of {where} is out of its time ({fault.verify_message}); whoever keeps the "
                "server has to renew it, unless this machine's clock is wrong"
            )
        return Outcome("retry", text, slow=True)
    if isinstance(fault, smtplib.SMTPNotSupportedError):
        text = f"{where} does not offer what is asked for ({fault}); {_modes(mail)}"
        return Outcome("retry", text, slow=True)
    if isinstance(fault, ssl.SSLError):
        text = f"{where} does not speak {mail.security} ({fault.reason or fault}); {_modes(mail)}"
        return Outcome("retry", text, slow=True)
    if isinstance(fault, smtplib.SMTPResponseException):
        return _answer(fault.smtp_code, fault.smtp_error)
    if isinstance(fault, UnicodeError):
        text = "host, log-in name or password hold characters that mail servers cannot take"
        return Outcome("retry", text, slow=True)
    hint = "" if mail.security == "tls" else f"; if it persists: {_modes(mail)}"
    return Outcome("retry", f"{where} could not be reached: {fault}{hint}")


def _modes(mail: Mail) -> str:
    return f"port 587 needs starttls, 465 tls, and security is now {mail.security!r}"


def _context(mail: Mail) -> ssl.SSLContext:
    """Verifies the certificate and the host name; a bare ``starttls()`` would do neither."""
    return ssl.create_default_context(cafile=mail.ca_file or None)


def _is_loopback(host: str) -> bool:
    if host.lower() == "localhost":
        return True
    with suppress(ValueError):
        return ipaddress.ip_address(host).is_loopback
    return False


def _all(recipients: Sequence[str], outcome: Outcome) -> dict[str, Outcome]:
    return dict.fromkeys(recipients, outcome)


def _leave(server: smtplib.SMTP) -> None:
    """A farewell that goes wrong changes nothing about what was accepted."""
    with suppress(OSError, smtplib.SMTPException):
        server.quit()
    server.close()
