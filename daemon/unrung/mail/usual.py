"""The day beside what is usual for its weekday, as one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from statistics import median

from unrung.alerts.wording import shown_steps, steps_with_unit
from unrung.by_locale import weekday_word
from unrung.settings import Settings
from unrung.units import step_ul

LEAST_DAYS = 2
"""Fewer days than this make nothing usual (our own choice)."""


def usual_sentence(
    before_ul: Sequence[int], not_rung_steps: int, day: date, settings: Settings
) -> str:
    """``before_ul``: beer poured without a ring on the same weekday of earlier weeks, in microlitres,
    of days that were issued complete. ``not_rung_steps``: this day's, as it is shown, so that the
    three figures of the sentence foot. Empty where too little is known."""
    if len(before_ul) < LEAST_DAYS:
        return ""
    usual = round(median(before_ul) / step_ul(settings.venue.volume_unit))
    weekday = weekday_word(day)
    told = f"({shown_steps(usual, settings)}, the middle of {len(before_ul)})"
    more = not_rung_steps - usual
    if not more:
        return f"As on a usual {weekday} {told}."
    word = "more" if more > 0 else "less"
    return f"{steps_with_unit(abs(more), settings)} {word} than on a usual {weekday} {told}."
