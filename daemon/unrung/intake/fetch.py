"""One answer of an address: whole, within its time and size, or the reason why not."""

from __future__ import annotations

import re
import ssl
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from socket import gaierror
from urllib.parse import unquote_plus, urlencode, urljoin, urlsplit, urlunsplit

import requests
from urllib3.exceptions import HTTPError

from unrung import __version__
from unrung.errors import SourceError
from unrung.intake.deadline import all_within, seconds_left
from unrung.intake.login import Login
from unrung.intake.pauses import http_date_ms
from unrung.intake.redact import shown_url, without
from unrung.poll_settings import Poll

MOST_REDIRECTS = 5
CHUNK = 16_384
"""Bytes read at a time: what a compressed answer may unpack to beyond its bound is in proportion."""
_REDIRECTS = (301, 302, 303, 307, 308)
_PAGE = re.compile(rb"(?:\xef\xbb\xbf)?\s*<\s*(?:!doctype\s+html|html|head|body)\b", re.IGNORECASE)


class Refused(SourceError):
    """The server answered and gave no data. ``retry_after``, ``date``: its headers of that name."""

    def __init__(
        self, message: str, *, permanent: bool = False, retry_after: str = "", date: str = ""
    ) -> None:
        self.retry_after, self.date = retry_after, date
        super().__init__(message, permanent=permanent)
OUT_OF_TIME = (9, 10)
"""X509_V_ERR_CERT_NOT_YET_VALID and X509_V_ERR_CERT_HAS_EXPIRED of OpenSSL's x509_vfy.h."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a server sent, unpacked, and what its headers say."""

    status: int
    content: bytes
    url: str
    """Where it came from in the end."""
    etag: str
    modified: str
    link: str
    said_ms: int | None = None
    """What time its server has, UTC milliseconds, where it says so."""


@dataclass(frozen=True, slots=True)
class Asker:
    """How one feed's address is asked."""

    session: requests.Session
    url: str
    """The feed's own address: its origin is where the secret may go."""
    poll: Poll
    login: Login
    max_bytes: int
    folder: str = ""
    """The config folder, where a relative ``ca_file`` starts."""

    def fetch(self, url: str, conditions: Mapping[str, str]) -> Answer:
        """The answer to a GET of ``url``; status 304 only where ``conditions`` were given.

        Redirects are followed by hand, so that no secret goes to another host, scheme or port.
        Raises SourceError, with the secret in no message.
        """
        with all_within(self.poll.total_seconds):
            try:
                return self._follow(url, conditions)
            except SourceError as error:
                error.args = tuple(without(str(text), self.login.secrets) for text in error.args)
                raise
            except (requests.RequestException, HTTPError, OSError, ValueError) as error:
                text = without(self._said(error, url), self.login.secrets)
        # Outside of the handler: the libraries put the whole address into their messages.
        raise SourceError(text)

    def _follow(self, url: str, conditions: Mapping[str, str]) -> Answer:
        start = url
        for _ in range(MOST_REDIRECTS + 1):
            with self._get(url, conditions) as response:
                target = response.headers.get("Location", "")
                if response.status_code not in _REDIRECTS or not target:
                    return self._answer(response, url, conditions)
            url = _next_url(url, target)
        raise Refused(f"{shown_url(start)} redirects more than {MOST_REDIRECTS} times.", permanent=True)

    def _get(self, url: str, conditions: Mapping[str, str]) -> requests.Response:
        poll, own = self.poll, same_origin(url, self.url)
        headers = {"User-Agent": f"unrung/{__version__}", "Accept-Encoding": "gzip, deflate"}
        if own:
            headers |= {**poll.headers, **dict(self.login.headers), **conditions}
            url = with_query(url, dict(self.login.query))
        return self.session.get(
            url, headers=headers, auth=_no_netrc, stream=True, allow_redirects=False,
            timeout=(min(poll.connect_seconds, seconds_left()), poll.read_seconds),
            verify=str(Path(self.folder) / poll.ca_file) if poll.ca_file else True,
        )

    def _answer(self, response: requests.Response, url: str, conditions: Mapping[str, str]) -> Answer:
        headers, status = response.headers, response.status_code
        if status not in (200, 204) and not (status == 304 and conditions):
            raise _refusal(response, url, self.url)
        if headers.get("Content-Encoding", "identity").lower() not in ("gzip", "deflate", "identity"):
            raise Refused(f"{shown_url(url)} sends a compression that was not asked for.", permanent=True)
        content = self._body(response, url) if status == 200 else b""
        if _PAGE.match(content[:1000]):
            raise Refused(
                f"{shown_url(url)} sent a web page, not data: has the address or the log-in changed? "
                "Open it in a browser and look.", permanent=True,
            )
        return Answer(
            status, content, url, headers.get("ETag", ""), headers.get("Last-Modified", ""),
            headers.get("Link", ""), http_date_ms(headers.get("Date", "")),
        )

    def _body(self, response: requests.Response, url: str) -> bytes:
        content = bytearray()
        for part in response.iter_content(CHUNK):
            content += part
            if len(content) > self.max_bytes:
                raise Refused(
                    f"{shown_url(url)} sends more than max_bytes = {self.max_bytes:,}; raise max_bytes of "
                    "this feed if that is right.", permanent=True,
                )
        return bytes(content)

    def _said(self, error: Exception, url: str) -> str:
        """What went wrong on the way, in words of our own."""
        host = urlsplit(url).hostname or "the host"
        causes = _causes(error)
        trust = next((one for one in causes if isinstance(one, ssl.SSLError)), None)
        if seconds_left() <= 0:
            return f"{host} did not send its whole answer within {self.poll.total_seconds:g} s."
        if isinstance(error, requests.ConnectTimeout):
            return f"{host} gave no connection within {self.poll.connect_seconds:g} s."
        if any(isinstance(one, TimeoutError) for one in causes):
            return f"{host} was silent for {self.poll.read_seconds:g} s."
        if trust is not None:
            if getattr(trust, "verify_code", 0) in OUT_OF_TIME:
                return (f"the certificate of {host} is out of its time; whoever keeps that host has to renew "
                        "it, unless this machine's clock is wrong.")
            why = getattr(trust, "verify_message", "") or trust.reason or "no details"
            return f"the certificate of {host} is not trusted ({why}); name your own authority in ca_file."
        if any(isinstance(one, gaierror) for one in causes):
            return f"the name {host} is not known; is the network up, and the address right?"
        if any(isinstance(one, ConnectionRefusedError) for one in causes):
            return f"{host} refuses the connection; does the service on it run?"
        if isinstance(error, requests.exceptions.ContentDecodingError):
            return f"{host} sent a damaged compressed answer."
        if isinstance(error, OSError) and "CA certificate" in str(error):
            return f"ca_file = {self.poll.ca_file!r} is not there."
        return f"the answer of {host} broke off ({type(error).__name__})."


def same_origin(one: str, other: str) -> bool:
    """Whether two addresses have the same scheme, host and port (RFC 6454, section 5)."""
    return _origin(one) == _origin(other)


def with_query(url: str, more: Mapping[str, str]) -> str:
    """``url`` with the query parameters in ``more`` set.

    >>> with_query("http://h/p?a=1&page=1", {"page": "2"})
    'http://h/p?a=1&page=2'
    """
    if not more:
        return url
    parts = urlsplit(without_query(url, more))
    added = urlencode(list(more.items()))
    return urlunsplit(parts._replace(query=f"{parts.query}&{added}" if parts.query else added))


def without_query(url: str, names: Collection[str]) -> str:
    """``url`` without the query parameters in ``names``; the others stay as they are written.

    >>> without_query("/p?a=%20&key=1&b", {"key"})
    '/p?a=%20&b'
    """
    parts = urlsplit(url)
    kept = [pair for pair in parts.query.split("&") if unquote_plus(pair.partition("=")[0]) not in names]
    return urlunsplit(parts._replace(query="&".join(kept)))


def _origin(url: str) -> tuple[str, str, int | None]:
    parts = urlsplit(url)
    usual = {"http": 80, "https": 443}.get(parts.scheme)
    return parts.scheme, parts.hostname or "", parts.port or usual


def _next_url(url: str, target: str) -> str:
    """Where a redirect leads. Raises Refused where that would be less safe, or no web address."""
    there = urljoin(url, target)
    if urlsplit(there).scheme not in ("http", "https"):
        raise Refused(f"{shown_url(url)} redirects to what is no web address.", permanent=True)
    if urlsplit(url).scheme == "https" and urlsplit(there).scheme == "http":
        raise Refused(f"{shown_url(url)} redirects to plain http, which is refused.", permanent=True)
    return there


def _refusal(response: requests.Response, url: str, own: str) -> Refused:
    status, where = response.status_code, shown_url(url)
    name = f"{status} {HTTPStatus(status).phrase}" if status in list(HTTPStatus) else str(status)
    said = f"{where} answered {name}"
    if not same_origin(url, own):
        said += f" ({shown_url(own)} redirects there, without the secret; set url to it if that is right)"
    retry_after, date = response.headers.get("Retry-After", ""), response.headers.get("Date", "")
    if status in (401, 403):
        return Refused(f"{said}: the log-in is not accepted; look at auth and its secret.",
                       permanent=True, retry_after=retry_after, date=date)
    if status in (408, 425, 429) or status >= 500:
        return Refused(f"{said}; it is asked again later.", retry_after=retry_after, date=date)
    return Refused(f"{said}: is the address right?", permanent=True, retry_after=retry_after, date=date)


def _no_netrc(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """Without an auth of its own, a session would take a password from the account's netrc file."""
    return request


def _causes(error: BaseException | None) -> list[BaseException]:
    """An error, what it came from, and what it carries as its reason."""
    found: list[BaseException] = []
    waiting: list[object] = [error]
    while waiting:
        one = waiting.pop()
        if isinstance(one, BaseException) and one not in found:
            found.append(one)
            waiting += [one.__cause__, one.__context__, getattr(one, "reason", None), *one.args]
    return found
