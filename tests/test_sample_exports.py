"""The sample week: made by a script, true to its own labels, and whole in what it shows."""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from datetime import datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from statistics import mean

import pytest

from sample_venue import make, place, sound
from sample_venue.bar import RanDry
from sample_venue.clock import DAYS
from sample_venue.exports import bounds
from sample_venue.read_back import (
    CONFIG,
    NEW_YORK,
    ROOT,
    SAMPLES,
    business_day,
    metered,
    rows_of,
    table,
    till,
    truth,
)
from unrung.config_folder import load
from unrung.intake.adapter import read_all
from unrung.records import Export
from unrung.settings import Settings
from unrung.units import keg_size_ul, to_ul

POURED = (
    ("matched_portion", 1), ("over_portion", 1), ("under_portion", -1), ("size_difference", 1),
    ("logged", 1), ("poured_not_rung", 1), ("poured_not_compared", 1), ("not_beer", 1),
)  # fmt: skip
RUNG = ("matched_portion", "rung_not_poured", "rung_not_compared")


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return {path.as_posix(): data for path, data in make.build().items()}


@pytest.fixture(scope="module")
def settings() -> Settings:
    return load(CONFIG)


# --- the files are the script's ---------------------------------------------------------------


def test_the_shipped_exports_are_byte_for_byte_what_the_script_makes(made: dict[str, bytes]) -> None:
    shipped = {
        path.relative_to(ROOT).as_posix(): path.read_bytes()
        for path in SAMPLES.rglob("*") if path.is_file() and path.name != ".gitattributes"
    }  # fmt: skip
    exports = {name: data for name, data in made.items() if name.startswith("sample_exports/")}
    assert sorted(shipped) == sorted(exports)
    assert [name for name in exports if shipped[name] != exports[name]] == []


@pytest.mark.parametrize("name", ["products.csv", "menu.csv", "taps.csv"])
def test_the_tables_of_the_config_folder_are_the_script_s_too(
    name: str, made: dict[str, bytes]
) -> None:
    """Line by line: a spreadsheet, or a checkout on Windows, may end lines its own way."""
    lines = made[f"config/{name}"].decode().splitlines()
    assert (CONFIG / name).read_text("utf-8").splitlines() == lines


def test_the_samples_stay_small() -> None:
    assert sum(path.stat().st_size for path in SAMPLES.rglob("*") if path.is_file()) < 900_000


# --- the week could have happened --------------------------------------------------------------


def test_nothing_in_the_week_is_impossible_or_unclear() -> None:
    assert sound.problems(make.play()) == []


def test_what_is_wrong_with_a_week_is_named() -> None:
    week = make.play()
    first, second = [pour for pour in week.pours if pour.tap.name == "L1"][:2]
    second.start = first.end - 1
    week.serves[0].lines[0].at += 3600
    assert len([text for text in sound.problems(week) if "starts before" in text]) == 1
    assert [text for text in sound.problems(week) if "after its pour" in text]


def test_a_keg_that_runs_out_beside_a_told_event_is_refused() -> None:
    with pytest.raises(RanDry, match="L1"):
        make.play({**make.LEFT, "L1": 560})


def test_one_tap_pours_one_thing_at_a_time() -> None:
    by_tap = defaultdict(list)
    for pour in metered().values():
        by_tap[pour.tap].append(pour)
    for pours in by_tap.values():
        pours.sort(key=lambda pour: pour.start)
        assert all(one.end < two.start for one, two in pairwise(pours))


def test_only_gas_runs_faster_than_four_ounces_a_second() -> None:
    """Beer runs at one to three (common practice, no source)."""
    fast = {
        name for name, pour in metered().items()
        if pour.ul / float(place.OUNCE) / (pour.end - pour.start) > 4
    }  # fmt: skip
    assert fast == set(truth()["cases"]["gas"])


def test_hours_and_volumes_are_those_of_the_zone_database_and_of_the_gallon() -> None:
    """IANA time zone database; US gallon of 231 cubic inches (NIST Handbook 44, Appendix C)."""
    for day in DAYS:
        for at, date in zip(bounds(day), (day, day + timedelta(days=1)), strict=True):
            assert datetime.fromtimestamp(at, NEW_YORK).isoformat()[:16] == f"{date}T04:00"
    assert [(until - since) // 3600 for since, until in map(bounds, DAYS)] == [24] * 4 + [25, 24, 24]
    assert all(place.oz(size) == to_ul(size, "us_fl_oz") for size in range(1, 70))
    assert all(keg_size_ul(beer.keg) == beer.keg_ul for beer in place.PRODUCTS)


def test_each_day_has_between_240_and_500_pours() -> None:
    pours = Counter(business_day(pour.end) for pour in metered().values())
    assert sorted(pours) == [str(day) for day in DAYS]
    assert all(240 <= count <= 500 for count in pours.values()), pours


def test_the_long_night_goes_on_through_the_repeated_hour() -> None:
    last = max(pour.end for pour in metered().values() if business_day(pour.end) == "2026-10-31")
    assert datetime.fromtimestamp(last, NEW_YORK).isoformat()[:16] == "2026-11-01T01:49"
    assert datetime.fromtimestamp(last, NEW_YORK).utcoffset() == timedelta(hours=-5)
    rung = [line.at for line in till().values() if business_day(line.at) == "2026-10-31"]
    hours = Counter(datetime.fromtimestamp(at, NEW_YORK).isoformat()[11:13] +
                    datetime.fromtimestamp(at, NEW_YORK).isoformat()[-6:] for at in rung)
    assert min(hours["01-04:00"], hours["01-05:00"]) >= 10


# --- the truth is that of the files -------------------------------------------------------------


def test_poured_in_the_files_is_the_sum_of_its_parts_in_the_truth() -> None:
    taps = {row["tap"]: (row["outlet"], row["product"]) for row in table("taps.csv")}
    poured: Counter[tuple[str, ...]] = Counter()
    for pour in metered().values():
        if pour.tap in taps:
            poured[business_day(pour.end), *taps[pour.tap]] += pour.ul
    for row in truth()["days"]:
        parts = sum(sign * row[name] for name, sign in POURED)
        assert parts == poured[row["day"], row["outlet"], row["product"]], row


def test_rung_in_the_files_is_the_sum_of_its_parts_in_the_truth() -> None:
    menu = defaultdict(list)
    for row in table("menu.csv"):
        if row["product"]:
            volume = to_ul(int(row["portion"]), row["unit"])
            menu[row["item"], row["size"]].append((row["product"], volume))
    gone = {line.takes_back for line in till().values()}
    rung: dict[tuple[str, ...], Fraction] = defaultdict(Fraction)
    for name, line in till().items():
        if name not in gone and line.status in ("", "COMP"):
            for product, volume in menu[line.item]:
                day = business_day(line.at - truth()["till_clock_ahead_s"])
                rung[day, line.bar, product] += line.units * volume
    for row in truth()["days"]:
        assert sum(row[name] for name in RUNG) == rung[row["day"], row["outlet"], row["product"]], row


def test_every_pour_has_a_partner_or_a_label() -> None:
    assert set(truth()["partners"]) == set(metered())


def test_partners_meet_within_minutes_by_the_clocks_of_the_files() -> None:
    """-40 s to 5 min, apart from the till's lead; across both passes of the repeated hour."""
    lead = truth()["till_clock_ahead_s"]
    lags = [
        till()[line].at - lead - metered()[pour].end
        for pour, words in truth()["partners"].items()
        for line in re.findall(r"\b7\d{5}\b", words)
    ]
    assert len(lags) > 1900
    assert -41 <= min(lags) and max(lags) <= 300


def test_the_till_s_own_total_goes_where_the_truth_says() -> None:
    for row in truth()["till"]:
        gone = sum(row[name] for name in ("voids", "training", "not_draught", "unknown_item"))
        assert row["till_units"] - gone == row["units_rung"], row
    for_till: Counter[tuple[str, str]] = Counter()
    for row in truth()["days"]:
        for_till[row["day"], row["outlet"]] += row["units_rung_micro"]
    assert {(r["day"], r["outlet"]): r["units_rung"] for r in truth()["till"]} == for_till


def test_what_the_cellar_says_is_gone_is_a_little_more_than_what_was_poured() -> None:
    """Only what is left in an empty keg is lost; counts are to the nearest 8 ounces."""
    poured: Counter[tuple[str, str]] = Counter()
    for row in truth()["days"]:
        parts = sum(sign * row[name] for name, sign in POURED) - row["not_beer"]
        poured[row["outlet"], row["product"]] += parts + row["rung_not_compared"]
    for row in truth()["stock"]:
        used = row["opening_ul"] + row["delivered_ul"] + row["moved_in_ul"] - row["moved_out_ul"]
        used -= row["counted_2026-11-02_ul"]
        assert 0.97 < poured[row["outlet"], row["product"]] / used <= 1.001, row


# --- what the week is there to show -------------------------------------------------------------


@pytest.mark.parametrize(("case", "times"), [
    ("void", 6), ("negative void", 2), ("voided", 3), ("refund", 2), ("training", 2), ("comp", 4),
    ("two goes", 4), ("top-up", 8), ("long pour", 3), ("flight", 20), ("half-and-half", 8),
    ("split check", 2), ("cleaning", 12), ("keg_change", 7), ("gas", 3), ("lone", 12),
    ("taster", 4), ("wrong size", 1), ("mis-ring", 2), ("unlisted item", 2), ("no_pour", 1),
    ("Waste", 5), ("Staff drink", 5), ("Taster", 2), ("Comp", 1), ("Training", 3),
    ("unknown_tap", 1),
])  # fmt: skip
def test_each_special_thing_is_there(case: str, times: int) -> None:
    assert len(truth()["cases"][case]) >= times
    assert len(truth()["cases"][case]) == len(set(truth()["cases"][case]))


def test_voids_come_before_the_pour_and_after_it() -> None:
    voided = {words for words in truth()["partners"].values() if words.startswith("voided:")}
    voids = {name for name, line in till().items() if line.status == "VOID" and line.units > 0}
    taken_back = {line.takes_back for line in till().values() if line.takes_back}
    poured = {words.removeprefix("voided:") for words in voided}
    assert poured & voids and poured & taken_back
    assert voids - poured and taken_back - poured


def test_the_parts_of_a_split_glass_come_to_one_unit_on_several_checks() -> None:
    for pour in truth()["cases"]["split check"]:
        lines = [till()[name] for name in truth()["partners"][pour].split("+")]
        assert sum(line.units for line in lines) == 1
        assert len({line.check for line in lines}) == len(lines) >= 2
        assert len({(line.at, line.item, line.bar) for line in lines}) == 1


def test_one_tap_gives_too_much_and_the_others_do_not() -> None:
    off = defaultdict(list)
    for pour, words in truth()["partners"].items():
        line = till().get(words)
        if line and line.item[1] == "Pint" and pour not in truth()["cases"]["wrong size"]:
            ounces = metered()[pour].ul / float(place.OUNCE)
            if ounces > 15.4:
                off[metered()[pour].tap].append(ounces - 16)
    assert min(map(len, off.values())) >= 30
    assert {tap for tap, values in off.items() if mean(values) > 0.5} == {"L3"}
    assert max(abs(mean(values)) for tap, values in off.items() if tap != "L3") < 0.1


def test_an_untimed_entry_speaks_of_three_pints_and_another_of_none() -> None:
    untimed = [row for row in truth()["log"] if not row["timed"]]
    assert [(row["day"], len(row["pours"])) for row in untimed] == [("2026-10-30", 3)]
    nothing = [row for row in truth()["log"] if not row["pours"]]
    assert len(nothing) == 1 and nothing[0]["explained_ul"] == 0 < nothing[0]["said_ul"]


def test_two_equal_rows_of_the_sheet_are_two_tasters() -> None:
    rows = Counter(tuple(row.values()) for row in rows_of(SAMPLES / "sheet/sheet_2026-11-02.csv"))
    assert sorted(rows.values())[-2:] == [1, 2]


def test_each_night_s_sheet_repeats_the_week_so_far() -> None:
    sheets = [path.read_bytes() for path in sorted((SAMPLES / "sheet").glob("*.csv"))]
    assert len(sheets) == 7
    assert all(two.startswith(one) and two != one for one, two in pairwise(sheets))


def test_meter_files_overlap_and_one_till_file_came_twice() -> None:
    ids: list[str] = []
    for path in (SAMPLES / "meters").glob("*.json"):
        ids += [pour["id"] for tap in json.loads(path.read_bytes())["taps"] for pour in tap["pours"]]
    assert len(ids) > len(set(ids)) + 200
    contents = Counter(path.read_bytes() for path in (SAMPLES / "till").glob("*.csv"))
    assert sorted(contents.values()) == [1] * 6 + [2]


def test_items_of_the_till_are_on_the_menu_or_listed_as_unlisted() -> None:
    menu = {(row["item"], row["size"]) for row in table("menu.csv")}
    off = {line.item[0] for line in till().values() if line.item not in menu}
    unlisted = truth()["unlisted"]
    assert off == {*unlisted["unknown_item"], *unlisted["not_draught"]}
    assert set(unlisted["unknown_item"]) == {"Sluice Gate Bitter Snifter"}
    assert [row["item"] for row in table("menu.csv") if not row["product"]] == ["Ambrel Gold T-Shirt"]
    assert any(line.item[0] == "Ambrel Gold T-Shirt" for line in till().values())


def test_one_beer_has_a_tap_without_a_meter_beside_one_with() -> None:
    taps = table("taps.csv")
    bare = [(row["outlet"], row["product"]) for row in taps if row["metered"] == "no"]
    assert bare == [(place.GARDEN, place.GOLD)]
    assert len([row for row in taps if (row["outlet"], row["product"]) in bare]) == 2
    rows = [r for r in truth()["days"] if (r["outlet"], r["product"]) in bare]
    assert sum(row["rung_not_compared"] for row in rows) > 0 < sum(r["poured_not_compared"] for r in rows)
    assert not any(row["poured_not_rung"] or row["rung_not_poured"] for row in rows)


# --- the config folder reads them ---------------------------------------------------------------


def test_every_export_belongs_to_one_feed_of_the_example(settings: Settings) -> None:
    for path in (path for path in SAMPLES.rglob("*") if path.parent != SAMPLES):
        feeds = [
            feed.name for feed in settings.feed
            if feed.folder == f"exports/{path.parent.name}" and path.match(feed.pattern)
        ]  # fmt: skip
        assert path.is_dir() or len(feeds) == 1, path


def test_by_the_example_all_rows_are_read_but_the_broken_ones(settings: Settings) -> None:
    found, broken = [], truth()["rejects"]
    for feed in settings.feed:
        for path in sorted((SAMPLES / feed.folder.removeprefix("exports/")).iterdir()):
            _, rejects, _ = read_all(feed, settings, Export(path.name, path.read_bytes(), 1793800000000))
            found += [(feed.name, path.name, row.line, row.field) for row in rejects]
    assert [row[:3] for row in found] == [(r["feed"], r["file"], r["line"]) for r in broken]
    assert len(broken) == 3
    fields = zip(found, broken, strict=True)
    assert all(want["field"] in (None, got[3]) for got, want in fields)


def test_the_example_says_what_its_settings_are_for() -> None:
    """A remark stands before every table of the file, for somebody who has not seen one."""
    text = (CONFIG / "venue.toml").read_text("utf-8")
    for block in re.split(r"\n(?=\[(?!feed\.))", text)[1:]:
        name = block.splitlines()[0]
        before = text[: text.index(block)].rstrip().splitlines()[-1]
        assert before.startswith("#") or "#" in name, name
