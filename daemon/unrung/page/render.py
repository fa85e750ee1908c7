"""From the view to the page's bytes, through the template beside this file."""

from __future__ import annotations

from pathlib import Path

from unrung.ledger.results import DayLedger
from unrung.page.view import page_view
from unrung.settings import Settings
from unrung.templates import environment


def page_bytes(ledger: DayLedger, settings: Settings, revision: int) -> bytes:
    """``report-D.html``: one file, nothing fetched, no script; UTF-8."""
    template = _ENVIRONMENT.get_template("page.html.j2")
    return template.render(view=page_view(ledger, settings, revision)).encode()


_ENVIRONMENT = environment(Path(__file__).parent, autoescape=True)
