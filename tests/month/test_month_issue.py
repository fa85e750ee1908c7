"""When a month is issued, again and for good; what the commands say and how they end."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from month.venue import Row, copy_of, level, month_rows, opened, read
from unrung.catch_up import CaughtUp, issue_due, take_in_all
from unrung.cli import commands
from unrung.closing import close
from unrung.issue import monthly
from unrung.issuing import due_days
from unrung.month_issuing import due_months
from unrung.reissuing import reissue_month
from venue_folder import SHEET_FEED, VenueFolder, make_venue, ms, pour, ring

ACCOUNTS = '[accounts]\nvariance = "5190"\nstock = "0310"\nusage = "5110"\n'
CELLAR = """
[[feed]]
name = "cellar"
carries = "kegs"
adapter = "csv"
folder = "exports/cellar"
pattern = "*.csv"
[feed.fields]
at = "Time"
kind = "What"
product = "Beer"
units = "Kegs"
part = "Litres"
cost = "Cost"
outlet = {const = "Bar"}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
[feed.formats.kinds]
count = ["count"]
delivery = ["delivery"]
"""
SHEET = SHEET_FEED + """\
[feed.fields]
day = "Day"
reason = "Why"
product = "Beer"
volume = "Oz"
outlet = {const = "Bar"}
[feed.formats]
date = "%Y-%m-%d"
volume_unit = "us_fl_oz"
[feed.formats.kinds]
waste = ["waste"]
"""
JULY, AUGUST = "07-02 12:00:00", "08-03 12:00:00"


def cellar(venue: VenueFolder, name: str, *rows: str, written: str = "07-01 10:00:00") -> None:
    text = "Time,What,Beer,Kegs,Litres,Cost\n" + "".join(f"2025-{row}\n" for row in rows)
    venue.drop(venue.path / "exports" / "cellar" / name, text.encode(), written)


@pytest.fixture(scope="module")
def june(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The last two days of June: eight pints poured, six rung; Amber counted at both ends. Copy it to change
    it."""
    venue = make_venue(tmp_path_factory.mktemp("june") / "bar", ids=True, more=ACCOUNTS + CELLAR)
    (venue.path / "exports" / "cellar").mkdir()
    times = [f"06-{day} 20:{minute:02d}:00" for day in (29, 30) for minute in (0, 10, 20, 30)]
    venue.rings("a.csv", [ring(at, id=f"r{n}") for n, at in enumerate(times) if n % 4], "07-01 05:00:00")
    venue.pours("a.json", [pour(f"p{n}", at) for n, at in enumerate(times)], "07-01 05:00:00")
    cellar(venue, "a.csv", "06-29 12:00:00,count,Amber,3,20,", "06-30 10:00:00,delivery,Amber,2,,130.00",
           "07-01 03:00:00,count,Amber,5,15,")
    venue.catch_up(JULY)
    return venue.path


@pytest.fixture
def bar(june: Path, tmp_path: Path) -> VenueFolder:
    return VenueFolder(copy_of(june, tmp_path / "bar"))


def month(venue: VenueFolder, name: str, table: str = "variance") -> list[Row]:
    return read(venue.path / "issued" / "monthly" / name / f"{table}-{name}.csv")


def amber(venue: VenueFolder, name: str = "2025-06") -> Row:
    return next(row for row in month(venue, name) if row["product"] == "Amber")


def test_the_month_by_hand(bar: VenueFolder) -> None:
    """3 kegs of 50 L and 20 L; two kegs at 130.00 in; 5 kegs and 15 L left: 5 L used, of 270 L worth
    170 L at 120.00 a keg and 100 L at 130.00: 668.00 / 270. Eight pints of 16 fl oz were metered."""
    row = amber(bar)
    litre = Decimal("33.8140227")
    assert Decimal(row["used"]) == pytest.approx(5 * litre, abs=Decimal("0.002"))
    assert row["beer_metered"] == "128.000" and row["poured_not_rung"] == "32.000"
    assert Decimal(row["lost_before_meter"]) == Decimal(row["used"]) - 128
    assert (row["used_cost"], row["closing_cost"]) == ("12.37", "655.63")
    assert Decimal(row["unit_cost"]) == pytest.approx(Decimal("668") / 270 / litre, abs=Decimal("1e-6"))
    assert row["yield_pct"] == "56.78"  # 96 of 169.07
    # 32 fl oz at the listed cost: two days of 0.473 L at 2.40
    lines = {row["account"]: row for row in month(bar, "2025-06", "journal")}
    assert (lines["5190"]["debit"], lines["0310"]["credit"], lines["5110"]["debit"]) == (
        "2.28", "12.37", "10.09")


def test_late_rows_make_the_next_revision_after_the_day_has_its_own(bar: VenueFolder) -> None:
    assert amber(bar)["revision"] == "1"
    bar.rings("late.csv", [ring("06-30 20:00:00", id="late")], "07-02 13:00:00")
    bar.catch_up("07-02 15:00:00")
    assert (amber(bar)["revision"], amber(bar)["poured_not_rung"]) == ("2", "16.000")
    days = [read(bar.path / f"issued/daily/2025-06-{day}/variance-2025-06-{day}.csv") for day in (29, 30)]
    assert sum(Decimal(row["poured_not_rung"]) for rows in days for row in rows) == 16
    issued = bar.query("SELECT * FROM issued WHERE day = '2025-06' ORDER BY revision, name")
    assert {row["revision"] for row in issued} == {1, 2} and all(row["sha256"] for row in issued)


def test_a_forgotten_delivery_changes_the_month_and_no_day(bar: VenueFolder) -> None:
    days = {name: data for name, data in bar.files().items() if name.startswith("daily/")}
    cellar(bar, "late.csv", "06-29 11:00:00,delivery,Amber,1,,125.00", written="07-02 13:00:00")
    bar.catch_up("07-02 15:00:00")
    assert amber(bar)["revision"] == "2"
    assert days == {name: data for name, data in bar.files().items() if name in days}


def test_the_workbook_of_a_month_that_did_not_change_is_made_only_where_it_is_gone(
    bar: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, real, made = bar.path / "issued/monthly/2025-06/variance-2025-06.xlsx", monthly.workbook_bytes, []

    def counted(*args: Any) -> bytes:
        made.append(path)
        return real(*args)

    monkeypatch.setattr(monthly, "workbook_bytes", counted)
    before = path.read_bytes()
    with bar.open(JULY) as (settings, db):
        assert "nothing differs" in reissue_month(db, settings, "2025-06", ms(JULY)).said and not made
        path.unlink()
        assert "nothing differs" in reissue_month(db, settings, "2025-06", ms(JULY)).said
    assert path.read_bytes() == before and len(made) == 1


def test_it_waits_for_its_days(bar: VenueFolder) -> None:
    with bar.open(JULY) as (settings, db):
        db.execute("UPDATE months SET dirty = 1")
        db.execute("UPDATE days SET dirty = 1 WHERE day = '2025-06-30'")
        db.commit()
        assert due_months(db, settings, ms(JULY)) == []
        db.execute("UPDATE days SET dirty = 0")
        db.commit()
        assert [one.name for one in due_months(db, settings, ms(JULY))] == ["2025-06"]


def finish(bar: VenueFolder) -> None:
    with bar.open(JULY) as (settings, db):
        done = close(db, settings, "2025-06", ms(JULY), accept=True)
        assert done.closed, done.lines


def test_late_stock_of_a_closed_month_is_carried_and_corrected_in_the_journal(bar: VenueFolder) -> None:
    """One more keg of 125.00 was delivered in June, so one more was used: 50 L."""
    finish(bar)
    closed, before = amber(bar), {n: d for n, d in bar.files().items() if "2025-06" in n}
    cellar(bar, "late.csv", "06-29 13:00:00,delivery,Amber,1,,125.00", written="07-03 10:00:00")
    bar.catch_up(AUGUST)
    assert before == {name: data for name, data in bar.files().items() if name in before}
    moved = {row["figure"]: row for row in month(bar, "2025-07", "adjustments")}
    assert set(moved) == {"delivered", "used", "used_cost", "closing_cost"}
    assert moved["used"]["origin_day"] == "2025-06-30" and moved["used"]["source_file"] == "late.csv"
    assert Decimal(moved["used"]["difference"]) == pytest.approx(Decimal("1690.701"), abs=Decimal("0.001"))
    assert moved["used_cost"]["old"] == closed["used_cost"]
    assert amber(bar, "2025-07")["opening"] == closed["closing"]
    lines = [row for row in month(bar, "2025-07", "journal") if row["reverses"] == "2025-06-r2"]
    assert {(row["account"], row["debit"], row["credit"]) for row in lines} == {
        ("5110", moved["used_cost"]["difference"], ""), ("0310", "", moved["used_cost"]["difference"])}


@pytest.mark.usefixtures("one_by_one")
def test_a_corrected_closing_count_leaves_the_next_opening_and_both_months_add_up(bar: VenueFolder) -> None:
    finish(bar)
    cellar(bar, "late.csv", "07-01 03:30:00,count,Amber,0,5,", "07-31 20:00:00,count,Amber,4,0,",
           written="08-01 10:00:00")
    bar.catch_up(AUGUST)
    moved = {row["figure"]: row for row in month(bar, "2025-07", "adjustments")}
    five = Decimal("169.070")
    assert Decimal(moved["closing"]["difference"]) == five == -Decimal(moved["used"]["difference"])
    july = amber(bar, "2025-07")
    assert july["opening"] == moved["closing"]["old"] and july["used_basis"] == "counted"


@pytest.mark.usefixtures("one_by_one")
def test_stock_and_the_last_day_each_name_the_exports_that_moved_them(bar: VenueFolder) -> None:
    """A late pour of another beer is judged first, on the 29th, and with it the period's stock, which is kept
    under the 30th; that day has a late ring of its own."""
    finish(bar)
    bar.pours("more.json", [pour("p8", "06-29 22:00:00", tap="2")], "07-03 10:00:00")
    bar.rings("more.csv", [ring("06-30 20:00:30", id="r0")], "07-03 10:00:00")
    cellar(bar, "late.csv", "06-30 13:00:00,delivery,Amber,1,,125.00", written="07-03 10:00:00")
    bar.catch_up(AUGUST)
    files = {
        (row["product"], row["origin_day"][-2:], row["figure"]): row["source_file"]
        for row in month(bar, "2025-07", "adjustments")
    }
    assert files["Stout", "29", "poured"] == files["Stout", "30", "used"] == "more.json"
    assert files["Amber", "30", "rung"] == "late.csv; more.csv"
    assert {files["Amber", "30", name] for name in ("delivered", "used", "used_cost")} == {"late.csv"}


@pytest.mark.usefixtures("one_by_one")
def test_late_days_of_a_closed_month_are_judged_once(bar: VenueFolder) -> None:
    """Nothing was known of the 26th when June was closed; nor was, and is, of the 27th."""
    finish(bar)
    bar.pours("old.json", [pour("old", "06-26 20:00:00", tap="2")], "07-03 10:00:00")
    bar.catch_up("07-03 12:00:00")
    with bar.open("07-03 12:10:00") as (settings, db):
        assert due_days(db, settings, ms("07-03 12:10:00")) == []
        reissue_month(db, settings, "2025-07", ms("07-03 12:10:00"))
    rows = {row["figure"]: row for row in month(bar, "2025-07", "adjustments")}
    assert (rows["poured"]["origin_day"], rows["poured"]["difference"]) == ("2025-06-26", "16.000")
    assert rows["used"]["difference"] == "16.000"
    assert {row["source_file"] for row in rows.values()} == {"old.json"}


@pytest.mark.usefixtures("one_by_one")
def test_late_beer_of_a_closed_month_was_used_where_nothing_was_counted(bar: VenueFolder) -> None:
    """Two late pints of Stout on two days: metered, so used, and taken from stock at their cost."""
    finish(bar)
    for day in ("29", "30"):
        bar.pours(f"late{day}.json", [pour(f"p{day}", f"06-{day} 22:00:00", tap="2")], "07-03 10:00:00")
    bar.catch_up(AUGUST)
    rows = month(bar, "2025-07", "adjustments")
    moved = {row["figure"]: row for row in rows if row["origin_day"] == "2025-06-30"}
    used = moved["used"]
    assert (used["difference"], used["source_file"]) == ("32.000", "late29.json; late30.json")
    cost = Decimal(moved["used_cost"]["difference"])
    assert cost == pytest.approx(Decimal("90") / 30 * 2 * Decimal("0.473176"), abs=Decimal("0.01"))
    lines = [row for row in month(bar, "2025-07", "journal") if row["reverses"] == "2025-06-r2"]
    (stock,) = [row for row in lines if row["account"] == "0310"]
    assert Decimal(stock["credit"]) == cost


@pytest.mark.usefixtures("one_by_one")
def test_a_late_entry_without_a_time_is_the_cause_of_what_it_moves(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar", ids=True, more=SHEET)
    (bar.path / "exports" / "sheet").mkdir()
    times = [f"06-30 20:{minute:02d}:00" for minute in (0, 10, 20, 30)]
    bar.rings("a.csv", [ring(at, id=at) for at in times[1:]], "07-01 05:00:00")
    bar.pours("a.json", [pour(at, at) for at in times], "07-01 05:00:00")
    bar.catch_up(JULY)
    finish(bar)
    text = "Day,Why,Beer,Oz\n2025-06-30,waste,Amber,16\n"
    bar.drop(bar.path / "exports" / "sheet" / "waste.csv", text.encode(), "07-03 10:00:00")
    bar.catch_up(AUGUST)
    moved = {row["figure"]: row for row in month(bar, "2025-07", "adjustments")}
    assert (moved["logged"]["cause"], moved["logged"]["source_file"]) == ("late_rows", "waste.csv")


@pytest.mark.usefixtures("one_by_one")
def test_beer_that_nobody_counted_is_carried_from_month_to_month(bar: VenueFolder) -> None:
    """Two kegs of Stout in June at 95.00, and a pint poured in each month: what June leaves of their cost
    is used or left in July, and a pint still costs what they cost."""
    cellar(bar, "stout.csv", "06-29 13:00:00,delivery,Stout,2,,95.00", written="07-02 13:00:00")
    for at in ("06-30 21:00:00", "07-20 21:00:00"):
        bar.pours(f"{at[:5]}.json", [pour(at, at, tap="2")], f"{at[:6]}23:00:00")
    bar.catch_up(AUGUST)
    june, july = (
        next(row for row in month(bar, name) if row["product"] == "Stout") for name in ("2025-06", "2025-07"))
    assert Decimal(june["used_cost"]) + Decimal(june["closing_cost"]) == 190
    assert Decimal(july["used_cost"]) + Decimal(july["closing_cost"]) == Decimal(june["closing_cost"])
    assert abs(Decimal(july["unit_cost"]) - Decimal(june["unit_cost"])) <= Decimal("0.000002")
    assert (july["opening"], july["used_basis"]) == ("", "metered")


def put_into_a_pool(bar: VenueFolder) -> None:
    pool = '[[pool]]\nname = "House"\noutlets = ["Bar", "Yard"]\n'
    bar.edit("venue.toml", '[[feed]]\nname = "till"', f'{pool}[[feed]]\nname = "till"')
    bar.edit("taps.csv", "M2,Bar", "M2,Yard")


def test_outlets_that_are_put_into_a_pool_are_counted_once(bar: VenueFolder) -> None:
    """Their days were issued under their own names, and the cellar's counts are the pool's from now on."""
    before, posted = month(bar, "2025-06"), month(bar, "2025-06", "journal")
    put_into_a_pool(bar)
    assert run("reissue", str(bar.path), "--month", "2025-06")[0] == 0
    renamed = [row | {"outlet": row["outlet"].replace("Bar", "House"), "revision": "2"} for row in before]
    assert month(bar, "2025-06") == renamed
    figures = ("account", "debit", "credit")
    assert [[row[name] for name in figures] for row in month(bar, "2025-06", "journal")] == [
        [row[name] for name in figures] for row in posted]


@pytest.mark.usefixtures("one_by_one")
def test_a_closed_month_knows_outlets_that_are_in_a_pool_since(bar: VenueFolder) -> None:
    """The next month opens with what the outlet had left, and a late ring moves what it moves alone."""
    finish(bar)
    closed = amber(bar)
    put_into_a_pool(bar)
    bar.rings("late.csv", [ring("06-30 20:00:00", id="late")], "07-02 13:00:00")
    bar.catch_up(AUGUST)
    july = [row for row in month(bar, "2025-07") if row["level"] == "product" and row["product"] == "Amber"]
    assert [(row["outlet"], row["opening"]) for row in july] == [("House", closed["closing"])]
    moved = month(bar, "2025-07", "adjustments")
    assert {row["outlet"] for row in moved} == {"House"} and "used" not in {row["figure"] for row in moved}
    assert july[0]["adjustments"] == "-16.000"


def test_a_pool_that_is_dissolved_within_a_month_stands_in_the_way_of_closing_it(bar: VenueFolder) -> None:
    put_into_a_pool(bar)
    for day in ("29", "30"):
        run("reissue", str(bar.path), "--day", f"2025-06-{day}")
    assert "no pool any more" not in run("close-month", str(bar.path), "--month", "2025-06")[1]
    bar.edit("venue.toml", '[[pool]]\nname = "House"\noutlets = ["Bar", "Yard"]\n', "")
    code, said = run("close-month", str(bar.path), "--month", "2025-06")
    assert code == 1 and "2025-06 has days of 'House', which is no outlet and no pool any more" in said


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(commands, list(words))
    return result.exit_code, result.output


def test_the_commands_and_how_they_end(bar: VenueFolder) -> None:
    config = str(bar.path)
    rows = [ring("06-30 20:05:00", qty="two", id="bad"), ring("06-30 20:06:00", "Burger", id="b1"),
            ring("06-30 20:07:00", "Burger", id="b2")]
    bar.rings("bad.csv", rows, "07-02 11:00:00")
    bar.catch_up(JULY)
    assert run("reissue", config)[0] == 2
    assert run("reissue", config, "--day", "2025-06-30", "--month", "x")[0] == 2
    code, said = run("reissue", config, "--month", "2025-06")
    assert (code, said) == (0, "2025-06: nothing differs from revision 1\n")
    code, said = run("close-month", config, "--month", "2025-06")
    assert code == 1 and "bad.csv: 1 row could not be read and waits, the first at line 2" in said
    assert said.endswith("2025-06 stays open. Settle these, or close it with --accept.\n")
    code, said = run("close-month", config, "--month", "2025-06", "--accept")
    assert code == 0 and said.endswith("2025-06 is closed, revision 2.\n")
    code, said = run("close-month", config, "--month", "2025-06", "--accept")
    assert code == 1 and "closed already" in said
    code, said = run("reissue", config, "--month", "2025-06")
    assert (code, said) == (0, "2025-06 is closed: its files stand as they were\n")
    code, said = run("reissue", config, "--day", "2025-06-30")
    assert code == 0 and "which is closed: nothing differs" in said


def test_a_name_that_is_no_month_is_a_sentence(bar: VenueFolder) -> None:
    result = CliRunner().invoke(commands, ["reissue", str(bar.path), "--month", "June"])
    assert "'June' is not a month; write for example 2026-11." in str(result.exception)


def in_weeks(folder: Path) -> None:
    """Periods of four weeks, from Monday 5 October 2026."""
    text = (folder / "venue.toml").read_text("utf-8")
    weeks = text.replace('kind = "calendar" ', 'kind = "13x4"\nstart = 2026-10-05\n')
    (folder / "venue.toml").write_text(weeks, "utf-8")


def test_periods_of_weeks_name_their_folders(own_week: Path) -> None:
    """Four weeks from Monday 5 October 2026 end on Sunday 1 November."""
    in_weeks(own_week)
    settings, db = opened(own_week)
    now = 1_794_000_000_000
    assert reissue_month(db, settings, "2026-P01", now).said == "2026-P01: issued revision 1"
    db.close()
    rows = level(month_rows(own_week, "2026-P01"), "venue")
    assert (rows[0]["first_day"], rows[0]["last_day"], rows[0]["days"], rows[0]["status"]) == (
        "2026-10-27", "2026-11-01", "6", "final")


def test_the_week_through_catch_up_again_changes_nothing(own_week: Path) -> None:
    before = {path: path.read_bytes() for path in own_week.rglob("issued/monthly/**/*") if path.is_file()}
    settings, db = opened(own_week)
    done = take_in_all(db, settings, 1_793_800_000_000, lambda _: None)
    issue_due(db, settings, 1_793_800_000_000, CaughtUp(), lambda _: None)
    db.close()
    assert not done.taken and before
    assert all(path.read_bytes() == data for path, data in before.items())


def test_a_month_without_a_day_is_not_made(bar: VenueFolder) -> None:
    code, said = run("reissue", str(bar.path), "--month", "2024-01")
    assert code == 1 and said == "2024-01: nothing was made\n! No day of it was issued.\n"
    assert not (bar.path / "issued/monthly/2024-01").exists()


def test_a_backdated_cost_is_carried_with_the_settings_as_its_cause(bar: VenueFolder) -> None:
    """From 30 June a keg of Amber costs twice as much: that day's 16 fl oz at 2.40 more a litre."""
    finish(bar)
    before = {name: data for name, data in bar.files().items() if "2025-06" in name}
    table = bar.path / "products.csv"
    rows = ["Amber,50 l,120.00,", "Amber,50 l,240.00,2025-06-30", "Stout,30 l,90.00,"]
    table.write_text("\n".join(["product,keg_size,keg_cost,valid_from", *rows, ""]), "utf-8")
    bar.catch_up("07-03 12:00:00")
    with bar.open("07-03 12:00:00") as (settings, db):
        reissue_month(db, settings, "2025-07", ms("07-03 12:00:00"))
    (moved,) = [row for row in month(bar, "2025-07", "adjustments") if row["figure"] == "variance_cost"]
    assert (moved["origin_day"], moved["difference"], moved["unit"]) == ("2025-06-30", "1.13", "USD")
    assert (moved["cause"], moved["source_file"]) == ("settings", "")
    assert before == {name: data for name, data in bar.files().items() if name in before}


def test_periods_of_another_kind_do_not_open_closed_days_again(own_week: Path) -> None:
    settings, db = opened(own_week)
    assert close(db, settings, "2026-10", 1_793_710_800_000, accept=True).closed
    db.close()
    in_weeks(own_week)
    settings, db = opened(own_week)
    done = close(db, settings, "2026-P01", 1_793_710_800_000, accept=True)
    db.close()
    assert done.standing.firm == [
        "2026-P01 begins before 2026-10-31, up to which the books are closed."]


LOG = SHEET_FEED + """\
[feed.fields]
at = "Time"
reason = "Why"
product = "Beer"
volume = "Litres"
outlet = {const = "Bar"}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
[feed.formats.kinds]
cleaning = ["clean"]
waste = ["waste"]
"""


def test_log_entries_without_a_beer_do_not_stop_the_month(june: Path, tmp_path: Path) -> None:
    """Somebody wrote down a line's cleaning and named no beer, and waste of one that no tap pours."""
    venue = VenueFolder(copy_of(june, tmp_path / "bar"))
    with (venue.path / "venue.toml").open("a", encoding="utf-8") as toml:
        toml.write(LOG)
    before = level(month_rows(venue.path, "2025-06"), "product")
    (venue.path / "exports" / "sheet").mkdir()
    rows = "Time,Why,Beer,Litres\n2025-06-29 09:00:00,clean,,\n2025-06-30 12:00:00,waste,Cider,1\n"
    venue.drop(venue.path / "exports" / "sheet" / "s.csv", rows.encode(), "07-01 05:00:00")
    done = venue.catch_up(JULY)
    assert [one.state for one in done.taken] == ["taken"] and not done.problems
    after = level(month_rows(venue.path, "2025-06"), "product")
    assert [row["product"] for row in after] == [row["product"] for row in before]
