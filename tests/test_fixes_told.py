"""A fix from its line in fixes.csv to page, mail, status and findings file, through real files."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any, cast

import pytest

from alerts.days import leaf_at, ledger_of
from mail.samples import mail_of
from mail.servers import free_port
from service.evenings import mailing_bar
from service.mails import text
from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.fix_news import with_fix_news
from unrung.ledger.results import FixNote, Verdict
from unrung.opening import look_at_venue
from unrung.status import Holder, collect
from unrung.status_text import WIDTH, lines
from unrung.store.open import open_store, write_tx
from venue_folder import PINT_ML, VenueFolder, make_venue, ms, pour, ring

FIXED = 16
HEADER = "date,tap,product,what,finding\n"


def evening(day: int, over_ml: float) -> tuple[list[dict[str, str]], list[dict[str, Any]]]:
    """Twelve pints of one day in June: rings, and pours by so much over."""
    at = [f"06-{day:02d} {18 + n // 4}:{15 * (n % 4):02d}:20" for n in range(12)]
    return (
        [ring(moment, check=f"{day}/{n}") for n, moment in enumerate(at)],
        [pour(f"{day}/{n}", moment.replace(":20", ":00"), ml=PINT_ML + over_ml + 4 * (n % 3 - 1))
         for n, moment in enumerate(at)],
    )


@pytest.fixture(scope="module")
def bar(tmp_path_factory: pytest.TempPathFactory) -> VenueFolder:
    """Two weeks of pints that held 30 ml too much until the 15th; on the 16th somebody mended it."""
    venue = mailing_bar(tmp_path_factory.mktemp("fixes") / "bar", free_port())
    (venue.path / "fixes.csv").write_text(HEADER + f"2025-06-{FIXED},1,,portion on tap 1 set to 16.0,\n")
    for day in range(10, 23):
        rings, pours = evening(day, 30 if day < FIXED else 1)
        venue.rings(f"{day}.csv", rings, f"06-{day} 23:59:00")
        venue.pours(f"{day}.json", pours, f"06-{day} 23:59:00")
        venue.catch_up(f"06-{day + 1} 11:30:00")
    return venue


def issued(bar: VenueFolder, day: int, name: str) -> str:
    end = "html" if name == "report" else "csv"
    return bar.files()[f"daily/2025-06-{day}/{name}-2025-06-{day}.{end}"].decode("utf-8-sig")


def test_the_findings_file_stops_to_raise_what_the_days_after_show_gone(bar: VenueFolder) -> None:
    assert "meter_calibration" in issued(bar, 15, "findings")
    assert "meter_calibration" not in issued(bar, 21, "findings")
    columns = [issued(bar, day, "findings").split("\r\n")[0] for day in (15, 20, 21)]
    assert set(columns) == {"finding,outlet,product,tap,volume,unit,confidence,evidence,check_first"}


def test_the_page_has_a_section_of_what_the_fixes_did(bar: VenueFolder) -> None:
    assert "What the fixes did" not in issued(bar, 15, "report")
    page = issued(bar, 21, "report")
    section = page.partition('id="fixes">What the fixes did</h2>')[2].partition("</section>")[0]
    start = "Portion on tap 1 set to 16.0, fixed Mon, Jun 16: glasses over or under their portion, 12 fl oz a"
    assert start in section
    assert "less): closed." in section


def test_the_morning_mail_of_the_day_that_decides_tells_it_and_the_next_does_not(bar: VenueFolder) -> None:
    told = {}
    for row in bar.query("SELECT day, body FROM outbox WHERE kind = 'morning' ORDER BY day"):
        mail = message_from_bytes(row["body"], policy=default)
        told[row["day"]] = "set to 16.0, fixed Mon, Jun 16" in text(mail)  # type: ignore[arg-type]
    assert len(told) == 13 and [day for day, said in told.items() if said] == ["2025-06-21"]


def test_status_says_what_the_fixes_did_as_of_the_last_day(bar: VenueFolder) -> None:
    settings, db = look_at_venue(bar.path, ms("06-23 12:00:00"))
    state = collect(db, settings, ms("06-23 12:00:00"), Holder(held=False))
    db.close()
    assert len(state["fixes"]) == 1 and state["fixes"][0].endswith("closed.")
    assert json.loads(json.dumps(state))["fixes"] == state["fixes"]
    shown = lines(state)
    assert any(line.startswith("Fixes") for line in shown) and all(len(line) <= WIDTH for line in shown)
    told = bar.query("SELECT value FROM facts WHERE name = 'fixes'")[0]["value"]
    assert json.loads(told)["day"] == "2025-06-22"


def test_a_day_issued_again_later_does_not_take_back_what_status_knows(bar: VenueFolder) -> None:
    bar.rings("late.csv", [ring("06-14 22:40:20", check="late")], "06-23 13:00:00")
    done = bar.catch_up("06-23 18:00:00")
    assert {one.day.day for one in done.issued} >= {14}
    told = bar.query("SELECT value FROM facts WHERE name = 'fixes'")[0]["value"]
    assert json.loads(told)["day"] == "2025-06-22"


@pytest.mark.parametrize("news", [True, False])
def test_the_morning_mail_tells_a_verdict_once(news: bool) -> None:
    quiet = ledger_of(leaf_at(20, matched_portion=1400, poured_not_rung=8.4), low=0)
    fix = FixNote(quiet.day, "x", "2", "", "leak", "closed", "Tap 2 mended, fixed Sat, Nov 14: closed.", news)
    mail = mail_of(replace(quiet, fixes=(fix,)))
    assert ("Tap 2 mended, fixed Sat, Nov 14: closed." in mail.text) is news
    assert "nothing to do" in mail.subject


def test_each_verdict_is_news_until_the_day_is_over_and_again_where_it_changes(tmp_path: Path) -> None:
    """However late the line was written: what counts is what the mails have told."""
    quiet = ledger_of(leaf_at(20, matched_portion=1400), low=0)
    days = [quiet.day + timedelta(days=n) for n in range(6)]
    said = ["too_early", "closed", "closed", "smaller", "too_early", "smaller"]
    db, news = open_store(tmp_path / "unrung.sqlite"), []
    for day, verdict in zip(days, said, strict=True):
        fix = FixNote(quiet.day, "x", "2", "", "leak", cast(Verdict, verdict), f"{verdict}.")
        for _ in range(2):
            with write_tx(db):
                marked = with_fix_news(db, replace(quiet, day=day, fixes=(fix,)))
            news.append(marked.fixes[0].news)
    assert news == [False, False, True, True, False, False, True, True, False, False, True, True]


@pytest.mark.parametrize(("row", "said"), [
    (",1,,x,", "line 2: date is empty; write the day of the fix, such as 2026-10-27."),
    ("November,1,,x,", "line 2: date is 'November'; write a date such as 2026-10-27."),
    ("2026-11-14,1,,,", "line 2: what is empty; say in a few words what was mended."),
    ("2026-11-14,9,,x,", "line 2: tap '9' is not in taps.csv; known are 1, 2, M1, M2."),
    ("2026-11-14,,Ambr,x,", "line 2: product 'Ambr' is not in products.csv; did you mean 'Amber'?"),
    ("2026-11-14,1,,x,leek", "line 2: finding 'leek' is not known; did you mean 'leak'?"),
    (",1,,,leek", "line 2: date is empty; write the day of the fix, such as 2026-10-27. what is empty; say "
     "in a few words what was mended. finding 'leek' is not known; did you mean 'leak'?"),
])  # fmt: skip
def test_a_bad_row_is_explained_with_file_line_field_value_and_what_to_write(
    row: str, said: str, tmp_path: Path
) -> None:
    bar = make_venue(tmp_path / "bar")
    (bar.path / "fixes.csv").write_text(HEADER + row + "\n")
    with pytest.raises(ConfigError) as error:
        load(bar.path)
    assert list(error.value.problems) == [f"fixes.csv, {said}"]


@pytest.mark.parametrize("row", ["2026-11-14,m1,Amber,x,Portion setting", "2026-11-14,,,new regulator"])
def test_a_good_row_may_name_tap_or_meter_product_and_finding_or_none(row: str, tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    (bar.path / "fixes.csv").write_text(HEADER + row + "\n")
    assert load(bar.path).fixes[0].finding in ("portion_setting", "")
