from __future__ import annotations

from dataclasses import replace

import pytest

from alerts.days import at, leaf_at, ledger_of, lone_pour, venue_settings
from mail.samples import LEARNT, busy_day, mail_of, quiet_day, till_missing
from unrung.alerts.rules import judge_day
from unrung.mail.actions import Action, actions_of, costs_minor
from unrung.mail.compose import morning_mail, threshold_mail, trial_mail
from unrung.mail.view import CLOSING
from unrung.settings import Alert


def last_words(text: str) -> str:
    return " ".join(text.split())[-len(CLOSING):]


def test_a_day_with_a_loss_says_how_much_and_of_what_in_its_subject() -> None:
    """84.4 fl oz show as 85 in a row that foots: floor or ceiling, not always the nearest."""
    assert mail_of(busy_day()).subject.replace("\u00a0", " ") == (
        "Fri, Oct 30: 85 fl oz (5.6%) not rung, Stout"
    )


def test_a_quiet_day_says_nothing_to_do_and_stops() -> None:
    mail = mail_of(quiet_day())
    assert mail.subject == "Fri, Oct 30: nothing to do, 0.6% not rung"
    after = " ".join(mail.text.partition("Nothing to do.")[2].split())
    assert after == CLOSING
    assert "Poured</th>" not in mail.html


def test_a_missing_feed_is_the_first_line_and_no_loss_is_told() -> None:
    mail = mail_of(till_missing())
    assert mail.text.startswith("Provisional: no sales from 'till' for Fri, Oct 30, so nothing is compared.")
    assert mail.subject == "Fri, Oct 30, provisional: no sales from 'till'"
    assert "not rung" not in mail.text and "Unexplained" not in mail.text
    assert "Nothing to do" not in mail.text


def test_even_given_alerts_a_day_with_a_missing_feed_tells_no_loss() -> None:
    raised = judge_day(busy_day(), venue_settings(), LEARNT)
    day = replace(busy_day(), missing=("no sales from 'till' for Fri, Oct 30",))
    mail = morning_mail(day, raised, venue_settings())
    assert raised and "Unexplained" not in mail.text
    assert "only part of the day is compared" in " ".join(mail.text.split())


def test_a_missing_log_is_told_and_the_day_is_still_judged() -> None:
    day = replace(busy_day(), missing=("no log entries from 'notebook' for Fri, Oct 30",))
    mail = mail_of(day)
    assert mail.text.startswith("No log entries from 'notebook' for Fri, Oct 30, so beer that was")
    assert "not rung, Stout" in mail.subject


@pytest.mark.parametrize(("apart", "told"), [(50, False), (50.1, True), (400, True)])
def test_beer_not_compared_is_told_at_the_top_above_five_percent(apart: float, told: bool) -> None:
    day = ledger_of(
        leaf_at(20, matched_portion=950, not_beer=500),
        leaf_at(20, "Cask", poured_not_compared=apart),
    )
    text = mail_of(day).text
    assert ("could not be compared" in text.partition("The Corner Tap")[0]) == told


def test_first_notices_stand_below_the_missing_feed() -> None:
    text = mail_of(till_missing(), first_notices=["Not sent in time, told here: x."]).text
    assert text.index("nothing is compared") < text.index("Not sent in time") < text.index("1,500")


def test_three_are_shown_the_worst_cost_first_be_it_a_finding_or_an_alert() -> None:
    """The alert's 84.4 fl oz at $1.80 a litre cost $4.49."""
    costs = {1: 1234, 2: None, 3: 90, 4: None}
    found = [Action(f"Finding {n}", "Garden", 5, "Look.", "", cost) for n, cost in costs.items()]
    mail = mail_of(busy_day(), actions=found)
    text = mail.text.replace("\u00a0", " ")
    assert mail.subject == "Fri, Oct 30: Finding 1 and 4 more"
    assert "2. 85 fl oz (5.6%) not rung, Stout" in text and "3. Finding 3" in text
    assert "Finding 2" not in text and "2 more in the day's findings file." in text
    assert "Garden · 5 min · about $12 at cost" in text


def test_the_count_is_shortened_and_the_amount_left_out_before_a_name_is_cut() -> None:
    words = "Tap L3 pours over its portions"
    titles = [f"{words}: 47 fl oz", f"{words}: 471 fl oz, twice", f"{words} and those of other taps: 4 fl oz"]
    other = Action("b", "Bar", 5, "Look.")
    found = [[Action(title, "Bar", 5, "Look.", "", 1234), other] for title in titles]
    assert [mail_of(quiet_day(), actions=one).subject for one in found] == [
        f"Fri, Oct 30: {titles[0]} +1", f"Fri, Oct 30: {words} and 1 more",
        f"Fri, Oct 30: {words} and those o… +1"]


def test_what_goes_on_below_a_number_is_set_in() -> None:
    text = mail_of(quiet_day(), actions=[Action("very " * 20 + "long", "Bar", 5, "Look.")]).text
    assert "\n1. very very" in text and "\n   very very" in text and "\nvery" not in text


def test_the_mail_ends_with_what_a_variance_is_not() -> None:
    raised = judge_day(busy_day(), venue_settings(), LEARNT)
    mails = [mail_of(busy_day()), mail_of(quiet_day()), mail_of(till_missing()),
             threshold_mail(busy_day(), raised, venue_settings()), trial_mail(venue_settings())]
    for mail in mails:
        assert last_words(mail.text) == CLOSING
        assert CLOSING in mail.html


def test_a_threshold_mail_names_hour_and_place_in_its_subject() -> None:
    day = ledger_of(
        leaf_at(21, matched_portion=300, poured_not_rung=300), low=280,
        lone=tuple(lone_pour(21 + n / 20) for n in range(8)),
    )
    raised = [one for one in judge_day(day, venue_settings(), LEARNT) if one.rule == "two_hours"]
    mail = threshold_mail(day, raised, venue_settings())
    plain = (mail.subject + mail.text).replace("\u00a0", " ").replace("\u202f", " ")
    assert plain.startswith("300 fl oz (50.0%) not rung from 9:00 PM, Main Bar")
    assert "until 11:00 PM, 8 serves without a ring" in plain
    early = threshold_mail(day, raised, venue_settings(), until_ms=at(21.5)).text.replace("\u202f", " ")
    assert "until 9:30 PM, 8 serves without a ring" in early


def test_words_that_accuse_are_never_written() -> None:
    day = ledger_of(
        leaf_at(21, matched_portion=300, poured_not_rung=300, logged=90), low=280,
        lone=tuple(lone_pour(21 + n / 20) for n in range(8)),
    )
    mail = mail_of(day)
    said = (mail.subject + mail.text + mail.html).lower()
    assert "logged" not in mail.subject and "9:00" in said and "written down" in said
    assert not any(w in said for w in ("theft", "steal", "stolen", "culprit", "suspect", "fraud"))


def test_checks_that_touch_gas_or_cellar_carry_their_caution() -> None:
    day = ledger_of(
        leaf_at(21, matched_portion=300, poured_not_rung=300), low=280,
        lone=tuple(lone_pour(21 + n / 20) for n in range(8)),
    )
    done = actions_of(judge_day(day, venue_settings(), LEARNT), day, venue_settings())
    assert [one.caution[:13] for one in done] == ["Before touchi", "In the cellar"]


def test_the_whole_venue_is_an_action_only_where_no_place_in_it_is() -> None:
    settings = venue_settings(alert=(Alert(name="venue_day", per="venue_day", min_pct=2),))
    alone = actions_of(judge_day(busy_day(), settings, LEARNT), busy_day(), settings)
    assert [one.place for one in alone] == ["Whole venue"]
    both = judge_day(busy_day(), venue_settings(), LEARNT)
    assert {one.rule for one in both} == {"product_day", "venue_day"}
    assert [one.place for one in actions_of(both, busy_day(), venue_settings())] == ["Main Bar"]


def test_title_and_table_show_the_same_rounded_figure() -> None:
    """84.5 fl oz may go up or down in a row that foots; the title follows the row."""
    day = ledger_of(
        leaf_at(20, matched_portion=900.3, poured_not_rung=84.5, logged=0.4), low=50
    )
    text = mail_of(day).text
    title = text.partition("1. ")[2].split()[0]
    row = next(line for line in text.splitlines() if line.startswith("Stout ")).split()
    assert title == row[4]


@pytest.mark.parametrize(
    ("locale", "currency", "unit", "words"),
    [
        ("en_US", "USD", "us_fl_oz", ["4,9", "fl oz", "about $6 at cost", "Fri, Oct 30"]),
        ("en_GB", "GBP", "imp_fl_oz", ["imp fl oz", "about £6 at cost", "Fri 30 Oct"]),
        ("en_GB", "GBP", "imp_pt", ["pt poured", "£6 at cost", "THE DAY IN PT"]),
        ("de_DE", "EUR", "ml", [".", "mL", "about 6 € at cost", "Fr., 30. Okt.", "2,4 %"]),
    ],
)
def test_numbers_money_and_dates_follow_the_locale(
    locale: str, currency: str, unit: str, words: list[str]
) -> None:
    venue = {"locale": locale, "currency": currency, "volume_unit": unit}
    text = mail_of(busy_day(), venue_settings(venue=venue)).text
    assert [word for word in words if word not in text] == []


def test_a_day_that_ends_with_a_stop_ends_a_sentence_with_one_stop_and_keeps_its_own() -> None:
    day = replace(busy_day(), missing=("no sales from 'till' for Fr., 30. Okt.",), status="incomplete")
    text = " ".join(mail_of(day, venue_settings(venue={"locale": "de_DE"})).text.split())
    assert "for Fr., 30. Okt., so only part of the day is compared." in text and ".." not in text


def test_cost_is_told_only_where_all_of_it_is_known() -> None:
    day = busy_day()
    partly = replace(day, products=(replace(day.products[0], cost_minor_per_litre=None),
                                    *day.products[1:]))
    assert costs_minor(day)["", ""] == sum(v for k, v in costs_minor(day).items() if k != ("", ""))
    assert ("", "") not in costs_minor(partly)


def test_notes_are_cut_to_five_lines() -> None:
    day = replace(quiet_day(), notices=tuple(f"note {n}" for n in range(3000)))
    text = mail_of(day).text
    assert "note 3" in text and "note 4" not in text and "2996 more" in text


def test_a_day_without_anything_is_composed_too() -> None:
    assert mail_of(ledger_of()).subject == "Fri, Oct 30: nothing compared, nothing to do"


@pytest.mark.parametrize("name", ["Stout", "Ein sehr langes Bier " * 20, "麦酒" * 40])
@pytest.mark.parametrize("locale", ["en_US", "de_DE", "fr_FR"])
def test_subjects_stay_below_sixty_characters(name: str, locale: str) -> None:
    settings = venue_settings(venue={"locale": locale, "name": name})
    raised = judge_day(busy_day(name, name), settings, LEARNT)
    for mail in (mail_of(busy_day(name, name), settings), trial_mail(settings),
                 threshold_mail(busy_day(name, name), raised, settings)):
        assert len(mail.subject) < 60


def test_hundreds_of_products_make_a_short_mail() -> None:
    day = ledger_of(
        *(leaf_at(20, f"p{n}", matched_portion=100, poured_not_rung=90) for n in range(400))
    )
    mail = mail_of(day)
    assert len(mail.html) < 30_000 and len(mail.text) < 6_000
    assert "and 399 more" in mail.subject
