"""From a view to a mail's text and HTML, through the two templates beside this file."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from pathlib import Path

from jinja2 import select_autoescape

from unrung.mail.view import View
from unrung.templates import environment


@dataclass(frozen=True, slots=True)
class Composed:
    """A mail without its envelope."""

    subject: str
    text: str
    html: str


def render(subject: str, view: View) -> Composed:
    """The text is complete by itself: who reads no HTML misses nothing."""
    text = _ENVIRONMENT.get_template("mail.txt.j2").render(view=view)
    html = _ENVIRONMENT.get_template("mail.html.j2").render(view=view, subject=subject) + "\n"
    plain = re.sub(r"[\u00a0\u202f]", " ", re.sub(r"\n{3,}", "\n\n", text))
    return Composed(subject, plain.strip() + "\n", html)


def _wrapped(text: str, indent: int = 0, below: int | None = None) -> str:
    """Plain text at 76 columns, every line indented, those below the first by ``below``."""
    return textwrap.fill(
        text, 76, initial_indent=" " * indent, subsequent_indent=" " * (indent if below is None else below),
        break_long_words=False, break_on_hyphens=False,
    )


def _column(text: str, width: int) -> str:
    return text.rjust(width)


_ENVIRONMENT = environment(
    Path(__file__).parent, autoescape=select_autoescape(("html.j2",), default=False),
    filters={"wrapped": _wrapped, "column": _column},
)
