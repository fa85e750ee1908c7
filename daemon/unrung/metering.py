"""A day's flows of meters that do not write pours: running totals, and counts over spans."""

from __future__ import annotations

from datetime import date, timedelta

from unrung.business_day import day_bounds
from unrung.ledger.coverage import Span
from unrung.ledger.inputs import DayInputs, fill, reading
from unrung.ledger.readings import Counters, metered, straddling
from unrung.ledger.taps import TapList
from unrung.settings import Settings
from unrung.store.lines import lines_between, readings_around
from unrung.store.open import Store


def add_metered(db: Store, settings: Settings, inputs: DayInputs) -> None:
    """Put into ``inputs`` what running meters counted on its day, and where they are blind.

    It takes the last reading of each meter on the day before, and the first on the day after.
    """
    carries = {feed.carries for feed in settings.feed}
    spans = {feed.name for feed in settings.feed if feed.carries == "pours" and feed.resolution == "interval"}
    if spans:
        _add_spans(db, settings, inputs, spans)
    if "readings" in carries:
        rows = readings_around(
            db, _bounds(settings, inputs.day, -1)[0], inputs.bounds, _bounds(settings, inputs.day, 1)[1])
        counters = Counters(TapList(settings.taps, settings.venue), settings.feed, settings.matching)
        lines, blind = metered(map(reading, rows), inputs.bounds, counters)
        inputs.pours += lines
        inputs.blind += blind


def _add_spans(db: Store, settings: Settings, inputs: DayInputs, feeds: set[str]) -> None:
    """Rows that count over a span: one that ends as the day starts belongs to the day before."""
    lo, hi = inputs.bounds
    around = DayInputs(inputs.day, inputs.bounds)
    fill(around, "pour", lines_between(db, "pour", lo, _bounds(settings, inputs.day, 1)[1]))
    lines = [line._replace(span=True) for line in around.pours if line.origin.feed in feeds]
    inputs.pours = [line for line in inputs.pours if line.origin.feed not in feeds]
    inputs.pours += [line for line in lines if lo < line.end_ms <= hi]
    inputs.blind += straddling(lines, inputs.bounds)


def _bounds(settings: Settings, day: date, ahead: int) -> Span:
    venue = settings.venue
    return day_bounds(day + timedelta(days=ahead), venue.timezone, venue.day_starts)
