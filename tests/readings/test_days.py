"""Running meters and interval counts through the whole ledger of a day."""

from __future__ import annotations

from pathlib import Path

import pytest

from readings.bar import (
    COUNTS,
    beat,
    by_window,
    drop_rows,
    ledger,
    metered_bar,
    poured,
    running,
    sell,
    volumes,
)
from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.ledger.results import DayLedger
from venue_folder import VenueFolder, local, ring

PINT = 473_176
HEADER = ("Meter", "At", "Litres")
COUNT_HEADER = ("Tap", "From", "To", "Litres")


def readings(
    venue: VenueFolder, *rows: tuple[str, float], name: str = "meter.csv", meter: str = "M1"
) -> None:
    drop_rows(venue, name, HEADER, [(meter, local(at), total) for at, total in rows])


def counts(venue: VenueFolder, *rows: tuple[str, str, float]) -> None:
    lines = [("1", local(start), local(end), litres) for start, end, litres in rows]
    drop_rows(venue, "counts.csv", COUNT_HEADER, lines)


def foots(found: DayLedger) -> None:
    """Every leaf: poured and rung by their components, and every unit counted once."""
    for leaf in found.leaves:
        parts = leaf.volumes
        assert min(parts.matched_portion, parts.poured_not_rung, parts.rung_not_poured,
                   parts.poured_not_compared, parts.rung_not_compared) >= 0
    units = sum(leaf.counts.units_rung_micro for leaf in found.leaves)
    assert units == sum(row.units_rung for row in found.till)


def pints(venue: VenueFolder, *times: str) -> None:
    """Pints on a running meter that writes a line each five seconds of a pour, and one at night."""
    total, rows = 10.0, [("06-09 12:00:00", 10.0), ("04:00:30", 10.0)]
    for at in times:
        rows += beat(at, total, total + 0.2, total + 0.4, total + 0.473176, total + 0.473176)
        total += 0.473176
    readings(venue, *rows, ("06-11 03:59:30", total), ("06-11 12:00:00", total))


def test_pours_of_a_running_meter_pair_with_their_rings(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, running())
    times = [f"{hour}:{minute:02}:00" for hour in (18, 19, 20) for minute in range(0, 60, 10)]
    pints(venue, *times, "21:00:00")
    sell(venue, *(at[:5] + ":40" for at in times))
    found = ledger(venue)
    foots(found)
    assert volumes(found) == {"matched_portion": 18 * PINT, "poured_not_rung": PINT}
    [lone] = [one for one in found.lone if one.kind == "pour"]
    assert (lone.tap, lone.source_file, lone.volume_ul) == ("1", "meter.csv", PINT)
    assert found.notices == ()


def test_a_day_takes_the_first_rise_from_the_last_reading_of_the_day_before(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, running())
    readings(venue, ("06-10 03:59:00", 10), ("06-10 04:00:30", 11), ("06-10 12:00:00", 11),
             ("06-11 12:00:00", 11))
    assert poured(ledger(venue)) == 1_000_000
    assert poured(ledger(venue, "2025-06-09")) == 0


def test_hours_of_a_running_meter_are_matched_by_totals(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, running())
    totals = {17: 100, 18: 100, 19: 105, 20: 107, 21: 107}
    rows = [(f"06-10 {hour:02}:00:00", total) for hour, total in totals.items()]
    readings(venue, ("06-09 20:00:00", 100), *rows, ("06-11 20:00:00", 107))
    sell(venue, *(f"18:{minute:02}:00" for minute in range(0, 60, 6)))  # ten pints of the five litres
    sell(venue, "19:30:00", name="more.csv")
    found = ledger(venue)
    foots(found)
    assert volumes(found) == {"matched_portion": 11 * PINT, "poured_not_rung": 7_000_000 - 11 * PINT}
    assert by_window(found, "matched_portion") == {"18": 5_000_000, "19": 11 * PINT - 5_000_000}
    assert found.lone == (), "no single pour is named"
    [row] = [row for row in found.products if row.product == "Amber"]
    left, matched = 7_000_000 - 11 * PINT, 11 * PINT
    assert (row.poured_not_rung_low, row.poured_not_rung_high) == (left - matched // 10, left + matched // 10)


def test_what_over_pour_explains_is_no_loss_for_sure(tmp_path: Path) -> None:
    """5 per cent more than rung: the low end of the range is 0, and no alert can be raised on it."""
    venue = metered_bar(tmp_path, COUNTS)
    counts(venue, ("18:00:00", "19:00:00", 10 * 0.473176 * 1.05))
    sell(venue, *(f"18:{minute:02}:00" for minute in range(0, 60, 6)))
    found = ledger(venue)
    [row] = [row for row in found.products if row.product == "Amber"]
    assert volumes(found)["poured_not_rung"] == 236_588 and row.poured_not_rung_low == 0
    assert row.poured_not_rung_high > 236_588


def test_more_rung_than_counted_leaves_part_of_a_ring(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, COUNTS)
    counts(venue, ("18:00:00", "19:00:00", 1.0), ("19:00:00", "20:00:00", 0))
    sell(venue, "18:10:00", "18:20:00", "18:30:00")
    found = ledger(venue)
    foots(found)
    assert volumes(found) == {"matched_portion": 1_000_000, "rung_not_poured": 3 * PINT - 1_000_000}
    assert [(one.kind, one.volume_ul, one.uncertain) for one in found.lone] == [
        ("ring", 3 * PINT - 1_000_000, True)]


def test_a_ring_after_the_hour_takes_beer_of_the_hour(tmp_path: Path) -> None:
    """Windows alone would find one pint too many in one hour and one too few in the next."""
    venue = metered_bar(tmp_path, COUNTS)
    counts(venue, ("18:00:00", "19:00:00", 0.473176), ("19:00:00", "20:00:00", 0))
    sell(venue, "19:10:00")
    assert volumes(ledger(venue)) == {"matched_portion": PINT}


def test_an_hour_that_ends_with_the_day_belongs_to_it(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, COUNTS)
    counts(venue, ("06-11 03:00:00", "06-11 04:00:00", 0.473176), ("06-11 04:00:00", "06-11 05:00:00", 1.0))
    sell(venue, "06-11 03:30:00")
    assert volumes(ledger(venue)) == {"matched_portion": PINT}
    assert volumes(ledger(venue, "2025-06-11")) == {"poured_not_compared": 1_000_000}


def test_a_count_over_the_edge_of_a_day_is_compared_on_neither(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, COUNTS)
    counts(venue, ("18:00:00", "19:00:00", 0.473176), ("06-10 22:00:00", "06-11 10:00:00", 3.0),
           ("06-11 12:00:00", "06-11 13:00:00", 0.473176))
    sell(venue, "18:30:00", "23:00:00", "06-11 09:00:00", "06-11 12:30:00")
    both = [volumes(ledger(venue, day)) for day in ("2025-06-10", "2025-06-11")]
    assert both == [
        {"matched_portion": PINT, "rung_not_compared": PINT},
        {"matched_portion": PINT, "rung_not_compared": PINT, "poured_not_compared": 3_000_000}]


def test_a_logger_that_was_down_for_a_while_has_its_volume_shared_out(tmp_path: Path) -> None:
    """Two pints with times, three litres while nobody read the meter, five rings."""
    venue = metered_bar(tmp_path, running())
    rows = [("06-09 20:00:00", 10.0), ("17:59:55", 10.0)]
    rows += beat("18:00:00", 10.0, 10.2, 10.473176, 10.473176)
    rows += beat("19:30:00", 13.473176, 13.473176)
    rows += beat("20:00:00", 13.473176, 13.7, 13.946352, 13.946352)
    readings(venue, *rows, ("06-11 20:00:00", 13.946352))
    sell(venue, "18:00:40", "18:30:00", "18:45:00", "19:00:00", "20:00:40")
    found = ledger(venue)
    foots(found)
    got = volumes(found)
    assert got["matched_portion"] == 5 * PINT and got["poured_not_rung"] == 3_000_000 - 3 * PINT
    assert sum(leaf.counts.serves for leaf in found.leaves) == 2


SHEET = """\
[[feed]]
name = "sheet"
carries = "log"
adapter = "csv"
folder = "exports/sheet"
[feed.fields]
at = "When"
end = "Until"
reason = "Why"
product = "Beer"
volume = "Litres"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
[feed.formats.kinds]
waste = ["Waste"]
cleaning = ["Clean"]
"""
CELLAR = """\
[[feed]]
name = "cellar"
carries = "kegs"
adapter = "csv"
folder = "exports/cellar"
[feed.fields]
at = "When"
kind = "What"
tap = "Tap"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
[feed.formats.kinds]
on = ["On"]
"""


def counting_bar(path: Path, *sheet: str, cellar: str = "") -> VenueFolder:
    """Counts over spans, and what was written down: lines of When, Until, Why, Beer, Litres."""
    venue = metered_bar(path, COUNTS + SHEET + CELLAR)
    for folder, header, lines in (("sheet", "When,Until,Why,Beer,Litres", sheet),
                                  ("cellar", "When,What,Tap", [cellar] if cellar else [])):
        (path / "exports" / folder).mkdir()
        if lines:
            text = "\n".join([header, *lines, ""])
            venue.drop(path / "exports" / folder / "a.csv", text.encode())
    return venue


def test_a_log_entry_explains_beer_without_a_time(tmp_path: Path) -> None:
    """What it says, and the meter's tolerance of two per cent more."""
    venue = counting_bar(tmp_path, f"{local('18:05:00')},,Waste,Amber,0.4")
    counts(venue, ("18:00:00", "19:00:00", 1.0))
    sell(venue, "18:30:00")
    assert volumes(ledger(venue)) == {
        "matched_portion": PINT, "logged": 408_000, "poured_not_rung": 1_000_000 - PINT - 408_000}


@pytest.mark.parametrize(("at", "explained"), [("18:00:30", 400_000), ("19:10:00", 0)])
def test_what_was_written_down_may_be_left_at_a_later_hour_and_not_at_an_earlier(
    tmp_path: Path, at: str, explained: int
) -> None:
    """The ring of 18:21 takes what was spilt at six, which closes first: its own beer is what is left."""
    venue = counting_bar(tmp_path, f"{local(at)},,Waste,Amber,0.4")
    counts(venue, ("18:00:00", "18:01:00", 0.4), ("18:20:00", "18:21:00", 0.473176),
           ("22:00:00", "22:01:00", 0.473176))
    sell(venue, "18:21:30", "22:01:30")
    left = {"logged": explained, "poured_not_rung": 400_000 - explained}
    assert volumes(ledger(venue)) == {
        "matched_portion": 2 * PINT, **{name: volume for name, volume in left.items() if volume}}


def test_what_a_new_keg_cost_may_be_left_at_a_later_hour_too(tmp_path: Path) -> None:
    venue = counting_bar(tmp_path, cellar=f"{local('18:00:10')},On,1")
    counts(venue, ("18:00:00", "18:01:00", 0.3), ("18:20:00", "18:21:00", 0.473176))
    sell(venue, "18:21:30")
    assert volumes(ledger(venue)) == {"matched_portion": PINT, "logged": 300_000}


def test_counts_within_a_cleaning_are_water_and_take_no_rings(tmp_path: Path) -> None:
    """Those over its edge may be either. Neither is a glass that somebody was given."""
    venue = counting_bar(tmp_path, f"{local('17:00:00')},{local('17:30:00')},Clean,Amber,")
    counts(venue, ("17:05:00", "17:06:00", 1.5), ("17:20:00", "17:21:00", 0.473176),
           ("17:29:30", "17:31:30", 0.2), ("18:00:00", "18:01:00", 0.473176))
    sell(venue, "17:21:30", "18:01:30")
    found = ledger(venue)
    got = volumes(found)
    assert got["not_beer"] == 1_500_000 + PINT
    assert got["matched_portion"] + got.get("poured_not_compared", 0) == PINT + 200_000
    assert not [notice for notice in found.notices if "clean" in notice.casefold()], found.notices


def test_voids_refunds_and_comps_keep_their_meaning(tmp_path: Path) -> None:
    """A void takes the ring out; its beer, if it was poured, stays."""
    kinds = 'kind = "Check"\n[feed.formats]\ntime = "%Y-%m-%d %H:%M:%S"\n'
    kinds += '[feed.formats.kinds]\nvoid = ["V"]\ncomp = ["C"]\n'
    venue = metered_bar(tmp_path, COUNTS)
    venue.edit("venue.toml", 'outlet = {const = "Bar"}\n[feed.formats]\ntime = "%Y-%m-%d %H:%M:%S"\n',
               'outlet = {const = "Bar"}\n' + kinds)
    counts(venue, ("18:00:00", "19:00:00", 3 * 0.473176))
    venue.rings("till.csv", [ring("18:10:00"), ring("18:20:00", check="C"), ring("18:30:00", check="V")])
    found = ledger(venue)
    foots(found)
    assert volumes(found) == {
        "matched_portion": 2 * PINT, "poured_not_rung": PINT, "comp_volume": PINT}
    assert [row.voids for row in found.till] == [1_000_000]


def test_a_counter_that_went_back_is_told_and_its_moments_are_not_compared(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, running())
    readings(venue, ("06-09 20:00:00", 50), ("18:00:00", 50), ("18:30:00", 1000), ("19:00:00", 20),
             ("06-11 20:00:00", 20))
    sell(venue, "18:15:00", "18:45:00")
    found = ledger(venue)
    assert volumes(found) == {"rung_not_compared": 2 * PINT}
    assert [notice[:45] for notice in found.notices] == [
        "Meter 'M1' jumped from 50.0 L to 1000.0 L at ", "Meter 'M1' went back from 1000.0 L to 20.0 L "]
    assert "counter_modulus" in found.notices[0]


def test_the_number_at_which_a_counter_starts_again_is_a_column_of_the_taps(tmp_path: Path) -> None:
    venue = metered_bar(tmp_path, running(), modulus="1000")
    readings(venue, ("06-09 20:00:00", 999.5), ("18:00:00", 999.5), ("18:01:00", 0), ("06-11 20:00:00", 0))
    found = ledger(venue)
    assert poured(found) == 500_000 and found.notices == ()


@pytest.mark.parametrize("text", ["0", "-5", "a lot"])
def test_a_number_that_cannot_be_one_is_refused(tmp_path: Path, text: str) -> None:
    metered_bar(tmp_path, running(), modulus=text)
    with pytest.raises(ConfigError, match=r"taps\.csv, line 2: counter_modulus"):
        load(tmp_path)


def test_a_meter_that_falls_silent_is_not_a_quiet_beer(tmp_path: Path) -> None:
    """Its last reading is of 18:05; what was rung later cannot be compared."""
    venue = metered_bar(tmp_path, running())
    pour = beat("18:00:00", 10, 10.2, 10.473176, 10.473176)
    readings(venue, ("06-09 20:00:00", 10.0), *pour, ("18:05:00", 10.473176))
    readings(venue, ("06-09 20:00:00", 5), ("06-11 03:59:00", 5), name="other.csv", meter="M2")
    sell(venue, "18:00:40", "22:00:00")
    assert volumes(ledger(venue)) == {"matched_portion": PINT, "rung_not_compared": PINT}


def test_files_in_either_order_and_twice_issue_the_same_ledger(tmp_path: Path) -> None:
    ledgers = []
    for name, order in (("one", "ab"), ("two", "ba"), ("three", "abab")):
        (tmp_path / name).mkdir()
        venue = metered_bar(tmp_path / name, running())
        parts = {
            "a": [("06-09 20:00:00", 10.0), *beat("18:00:00", 10, 10.2)],
            "b": [*beat("18:00:10", 10.473176, 10.473176), ("06-11 20:00:00", 10.473176)],
        }
        for number, part in enumerate(order):
            readings(venue, *parts[part], name=f"{part}{number}.csv")
            venue.intake()
        sell(venue, "18:00:40")
        ledgers.append(volumes(ledger(venue)))
    assert ledgers == [{"matched_portion": PINT}] * 3
