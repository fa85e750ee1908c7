"""A keg of another beer goes on, the till has a button for it, and the tables know nothing of either."""

from __future__ import annotations

import random
import re
from email import message_from_bytes
from email.policy import default
from pathlib import Path

import pytest

from unrung.checking import check_folder
from unrung.menu_add import say_unlisted
from venue_folder import Row, VenueFolder, make_venue, ms, pour, ring

MORE = (
    '[mail]\nhost = "127.0.0.1"\nport = 9\nsecurity = "none"\nsender = "a@example.org"\n'
    'to = ["b@example.org"]\ntimeout_seconds = 1\n'
)
MORNING = "06-11 06:30:00"


SAISON = ("Heron Saison 16oz", "Heron Saison 8oz")


def evening(venue: VenueFolder, names: tuple[str, ...], seed: int = 4) -> None:
    """On each tap 34 glasses in an order of their own, rung within two minutes; those of tap 2 under one of
    ``names``, a fifth of them small and under the last one. Burgers and "Fries" of no connection."""
    rng, rings, pours = random.Random(seed), list[Row](), list[dict[str, object]]()
    for number, beer in (("1", "Pint of Amber"), ("2", "")):
        for n in range(34):
            at = 12 * 3600 + n * 840 + rng.randrange(600)
            small = n % 5 == 4 and number == "2"
            pours.append(pour(f"{number}-{n}", _clock(at), tap=number, ml=236.6 if small else 473.2))
            name = beer if number == "1" else names[-small] if names else ""
            at += rng.randrange(15, 110)
            rings += [ring(_clock(at), name)] if name else []
    rings += [ring(_clock(12 * 3600 + rng.randrange(28_000)), name) for name in ("Burger", "Fries") * 20]
    venue.rings("a.csv", sorted(rings, key=lambda row: row["Time"]))
    venue.pours("a.json", sorted(pours, key=lambda row: str(row["end"])))


def _clock(seconds: int) -> str:
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    venue = make_venue(tmp_path / "v", more=MORE)
    evening(venue, SAISON)
    venue.catch_up(MORNING)
    return venue


def mail(bar: VenueFolder) -> str:
    body = bar.query("SELECT body FROM outbox WHERE kind = 'morning' ORDER BY id DESC")[0]["body"]
    plain = message_from_bytes(body, policy=default).get_body(("plain",))
    return " ".join(str(plain.get_content()).split()) if plain else ""


def test_the_mail_asks_before_anybody_is_talked_to(bar: VenueFolder) -> None:
    said = mail(bar)
    assert "Is Heron Saison on tap 2?" in said and "Fries on tap" not in said and "on tap 1" not in said
    assert "sold it 34 times beside the tap's pours, and Stout, which taps.csv says runs there" in said


def test_check_names_rows_that_make_the_very_ledger(bar: VenueFolder) -> None:
    report = check_folder(bar.path, ms(MORNING), {})
    rows = dict[str, list[str]]()
    for line in report.lines:
        found = re.match(r"      (\w+\.csv): (.*)", line)
        if found:
            rows.setdefault(found[1], []).append(found[2])
    assert rows["taps.csv"][0] == "2,,Bar,Heron Saison,   (and in a column of its own: from = 2025-06-10)"
    assert rows["taps.csv"][1] == "(in its row of Stout: to = 2025-06-09)"
    assert rows["menu.csv"] == ["Heron Saison 16oz,Heron Saison,16,", "Heron Saison 8oz,Heron Saison,8,"]
    for name in ("products.csv", "menu.csv"):
        with (bar.path / name).open("a", encoding="utf-8") as table:
            table.write("\n".join(rows[name]) + "\n")
    (bar.path / "taps.csv").write_text(
        "tap,meter,outlet,product,metered,from,to\n1,M1,Bar,Amber,yes,,\n2,M2,Bar,Stout,yes,,2025-06-09\n"
        "2,M2,Bar,Heron Saison,yes,2025-06-10,\n", "utf-8")
    bar.catch_up("06-11 08:00:00")
    days = bar.query("SELECT product, sum(poured_not_rung) AS alone, sum(matched_portion) > 0 AS matched "
                     "FROM leaves WHERE day = '2025-06-10' GROUP BY product ORDER BY product")
    assert [tuple(row.values()) for row in days] == [("Amber", 0, 1), ("Heron Saison", 0, 1)]


@pytest.mark.parametrize("names", [("Pint of Stout",), ()], ids=["rung", "not rung"])
def test_where_no_new_item_goes_with_them_nothing_is_asked(tmp_path: Path, names: tuple[str, ...]) -> None:
    venue = make_venue(tmp_path / "v", more=MORE)
    evening(venue, names)
    venue.catch_up(MORNING)
    said = list[str]()
    say_unlisted(venue.path, ms(MORNING), said.append)
    assert not any("seems to pour" in line for line in said) and "on tap 2?" not in mail(venue)


def test_a_beer_that_ran_out_is_no_new_one(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", more=MORE)
    venue.edit("menu.csv", "Pint of Stout,", "Night Cap,")
    evening(venue, ("Night Cap",))
    venue.catch_up(MORNING)
    venue.edit("menu.csv", "price\n", "price,to\n")
    venue.edit("menu.csv", "8.00\n", "8.00,2025-06-10\n")
    venue.edit("taps.csv", "metered\n", "metered,from,to\n")
    venue.edit("taps.csv", "Stout,yes\n", "Stout,yes,,2025-06-10\n2,M2,Bar,Amber,yes,2025-06-11,\n")
    venue.catch_up("06-12 06:30:00")
    said = list[str]()
    assert not say_unlisted(venue.path, ms("06-14 06:30:00"), said.append), said
