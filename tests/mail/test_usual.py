"""The day beside its weekday: one sentence whose figures foot, or none."""

from __future__ import annotations

from statistics import median

import pytest

from alerts.days import DAY, oz, venue_settings
from mail.samples import busy_day, mail_of, quiet_day, till_missing
from unrung.mail.usual import usual_sentence


def said(before: list[float], steps: int, **venue: str) -> str:
    sentence = usual_sentence([oz(one) for one in before], steps, DAY, venue_settings(venue=venue))
    return sentence.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("before", "now", "sentence"),
    [
        ([], 85, ""),
        ([60], 85, ""),
        ([60, 62], 85, "24 fl oz more than on a usual Friday (61, the middle of 2)."),
        ([10, 60, 400], 85, "25 fl oz more than on a usual Friday (60, the middle of 3)."),
        ([90, 92, 94, 300], 85, "8 fl oz less than on a usual Friday (93, the middle of 4)."),
        ([85.2, 85.3, 84.9], 85, "As on a usual Friday (85, the middle of 3)."),
    ],
)
def test_the_day_is_told_beside_the_median_of_its_weekday(
    before: list[float], now: int, sentence: str
) -> None:
    assert said(before, now) == sentence
    if sentence.startswith(("24", "25")):
        assert int(sentence.split()[0]) == now - round(median(before))


def test_litres_are_told_in_tenths_as_the_locale_writes_them_and_the_weekday_in_english() -> None:
    """The README says so of the weekday. 61 fl oz are 1.804 L (231 cubic inches to the US gallon)."""
    assert said([60, 62], 25, volume_unit="l", locale="de_DE") == (
        "0,7 L more than on a usual Friday (1,8, the middle of 2)."
    )


def test_the_mail_tells_it_beside_the_figures_also_on_a_quiet_day() -> None:
    before = [oz(60), oz(60)]
    for day in (busy_day(), quiet_day()):
        mail = mail_of(day, before_ul=before)
        text = " ".join(mail.text.split()).replace("\u00a0", " ")
        assert "than on a usual Friday (60, " in text and "a usual Friday" in mail.html
    assert "usual" not in mail_of(till_missing(), before_ul=before).text
