"""``unrung setup`` from end to end: the shipped samples, questions, and what it never touches."""

from __future__ import annotations

import os
import random
import shutil
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from unrung.config_folder import load
from unrung.errors import ConfigError, UnrungError
from unrung.mapping import Carries
from unrung.setup.answers import fault
from unrung.setup.command import setup_command
from unrung.setup.doubt import Doubt, takes_proposals
from unrung.setup.run import Wishes, run_setup
from unrung.setup.venue import Hours, hours_of

from .dialects import write_british
from .helping import NOW_MS, Asked, Rows, computed, ledger_of, set_up
from .in_dutch import write_in_dutch
from .quiet_bar import Beer, QuietBar, quiet_bar

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = {
    "rings": ROOT / "sample_exports/till", "pours": ROOT / "sample_exports/meters",
    "kegs": ROOT / "sample_exports/cellar", "log": ROOT / "sample_exports/sheet",
}  # fmt: skip
WEEK = [date(2026, 10, 27) + timedelta(days=n) for n in range(7)]


@pytest.fixture(scope="module")
def sample_bar(tmp_path_factory: pytest.TempPathFactory) -> Path:
    into = tmp_path_factory.mktemp("samples") / "sluice-house"
    set_up(into, **SAMPLES)
    return into


# --- the shipped samples -----------------------------------------------------------------------------


def test_the_shipped_samples_are_read_as_the_shipped_config_reads_them(sample_bar: Path) -> None:
    """Field for field and format for format; only where the files lie differs."""
    ours, shipped = load(sample_bar), load(ROOT / "config")
    for mine, theirs in zip(ours.feed, shipped.feed, strict=True):
        assert mine.fields == theirs.fields, mine.name
        formats = theirs.formats.model_copy(update={"order": mine.formats.order})
        assert mine.formats == formats and mine.export == theirs.export, mine.name
    assert (ours.venue.timezone, ours.venue.name) == (shipped.venue.timezone, shipped.venue.name)
    assert (ours.venue.day_starts, ours.venue.currency) == (shipped.venue.day_starts, "USD")


def test_the_shipped_samples_give_the_shipped_tables_but_for_what_no_export_tells(sample_bar: Path) -> None:
    """Composed of four beers, half-and-halfs, a tap without a meter: all seen in the exports. No export
    tells how much beer stands in a line, nor how big a keg is."""
    ours, shipped = load(sample_bar), load(ROOT / "config")
    assert {(row.item, row.size, row.product, row.portion_ul, row.price_minor) for row in ours.menu} == {
        (row.item, row.size, row.product, row.portion_ul, row.price_minor) for row in shipped.menu
    }
    assert {row.model_copy(update={"line_volume_ul": 0}) for row in shipped.taps} == set(ours.taps)
    assert {(row.product, row.keg_cost_minor) for row in ours.products} <= {
        (row.product, cost) for row in shipped.products for cost in (row.keg_cost_minor, None)
    }


def test_the_same_week_in_dutch_gives_the_same_ledgers_without_a_question(
    sample_bar: Path, sample_week: Rows, tmp_path: Path
) -> None:
    """Kegs, log, voids, comps, training and a tap without a meter, in words and marks of another place."""
    write_in_dutch(ROOT / "sample_exports", tmp_path / "in")
    asked, folders = Asked(), {"rings": "kassa", "pours": "tap", "kegs": "kelder", "log": "blad"}
    given = {kind: tmp_path / "in" / name for kind, name in folders.items()}
    set_up(tmp_path / "bar", zone="America/New_York", ask=asked, **given)
    assert asked.about == []
    mapped = [[feed.fields.keys() for feed in load(bar).feed] for bar in (tmp_path / "bar", sample_bar)]
    assert mapped[0] == mapped[1]
    assert computed(tmp_path / "bar", WEEK) == sample_week


@pytest.fixture(scope="module")
def sample_week(sample_bar: Path, tmp_path_factory: pytest.TempPathFactory) -> Rows:
    return _week(sample_bar, tmp_path_factory.mktemp("week") / "ours")


def test_the_shipped_samples_give_the_shipped_ledgers_but_for_the_beer_in_cleaned_lines(
    sample_week: Rows, tmp_path: Path
) -> None:
    found = deepcopy(sample_week)
    shipped = _week(ROOT / "config", tmp_path / "shipped")
    assert found.keys() == shipped.keys() and len(found) == 7 * 10
    cleaned = {key for key in found if found[key] != shipped[key]}
    assert sorted((key[0].day, key[2]) for key in cleaned) == [
        (2, "Sluice Gate Bitter"), (2, "Withy Basket Cider"), (27, "Mudlark Stout"), (29, "Ferrywife Wheat"),
    ]
    for key in cleaned:
        for row in (found[key], shipped[key]):
            row["both"] = row.pop("logged", 0) + row.pop("not_beer", 0)
        assert found[key] == shipped[key]


def _week(config: Path, into: Path) -> Rows:
    """The week of the samples under a config, its exports waiting where its feeds look for them."""
    into.mkdir()
    for name in ("venue.toml", "products.csv", "menu.csv", "taps.csv"):
        shutil.copyfile(config / name, into / name)
    for feed, kind in zip(load(into).feed, SAMPLES.values(), strict=True):
        shutil.copytree(kind, into / feed.folder)
    return computed(into, WEEK)


# --- what it writes and what it does not ---------------------------------------------------------------


@pytest.fixture
def british() -> QuietBar:
    names = (("Weir Bitter", "A"), ("Otter", "B"))
    beers = [Beer("", name, tap, {"Pint": (568_261, 560)}) for name, tap in names]
    return quiet_bar(4, beers, "Europe/London", date(2026, 10, 23), 2)


@pytest.fixture
def exports(british: QuietBar, tmp_path: Path) -> dict[str, str | Path]:
    write_british(british, tmp_path / "in")
    return {"rings": tmp_path / "in/till", "pours": tmp_path / "in/meters"}


def contents(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def test_the_samples_stay_where_they_are_and_copies_wait_with_their_times(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    before = contents(tmp_path / "in")
    set_up(tmp_path / "bar", **exports)
    assert contents(tmp_path / "in") == before
    copies = sorted((tmp_path / "bar/exports/till").iterdir())
    assert [path.name for path in copies] == ["2026-10-23.json", "2026-10-24.json"]
    assert copies[0].stat().st_mtime == (tmp_path / "in/till" / copies[0].name).stat().st_mtime


@pytest.mark.parametrize("name", ["venue.toml", "menu.csv"])
def test_nothing_that_is_there_is_written_over(
    name: str, exports: dict[str, str | Path], tmp_path: Path
) -> None:
    (tmp_path / "bar").mkdir()
    (tmp_path / "bar" / name).write_text("mine", "utf-8")
    with pytest.raises(ConfigError, match="is there already"):
        set_up(tmp_path / "bar", **exports)
    assert contents(tmp_path / "bar") == {name: b"mine"}


def test_force_writes_over_a_config_and_leaves_exports_alone(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    bar = tmp_path / "bar"
    set_up(bar, **exports)
    (bar / "menu.csv").write_text("old", "utf-8")
    (bar / "exports/till/2026-10-23.json").write_text("grown", "utf-8")
    run_setup(_wishes(bar, exports, force=True), takes_proposals, lambda _: None, "", NOW_MS)
    assert load(bar).menu
    assert (bar / "exports/till/2026-10-23.json").read_text("utf-8") == "grown"


def test_in_place_the_exports_are_read_where_they_lie(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    run_setup(_wishes(tmp_path / "bar", exports, in_place=True), takes_proposals, lambda _: None, "", NOW_MS)
    feed = load(tmp_path / "bar").feed[0]
    assert (Path(feed.folder), feed.leave) == (tmp_path / "in/till", True)
    assert not (tmp_path / "bar/exports").exists()


def _wishes(into: Path, exports: dict[str, str | Path], **more: bool) -> Wishes:
    given: dict[Carries, tuple[str, ...]] = {kind: (str(path),) for kind, path in exports.items()}  # type: ignore[misc]
    return Wishes(into, given, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.json", b"", "is empty"),
        ("page.csv", b"<html><body>Log in</body></html>", "is a web page"),
        ("burgers.csv", b"Item,Price\nBurger,9.50\nChips,4.50\n", "when a row happened"),
        ("quiet.csv", b"Check,Time,Item,Qty\r\n", "has a header and no row below it"),
        ("odd.json", b'{"a": 1}', "no array of objects"),
        ("nan.json", b'[{"time": NaN}]', "JSON does not have"),
        ("mills.csv", b"Time,Item,Total\n" + b"2026-10-27 20:15:00,Amber,7.0625\n" * 9, "9 of 9 rows"),
    ],
)
def test_what_cannot_be_understood_is_told_and_nothing_is_written(
    name: str, content: bytes, said: str, exports: dict[str, str | Path], tmp_path: Path
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(UnrungError, match=said):
        set_up(tmp_path / "bar", **{**exports, "rings": tmp_path / name})
    assert not (tmp_path / "bar").exists()


def test_files_that_are_not_there_are_named_all_at_once(tmp_path: Path) -> None:
    with pytest.raises(ConfigError) as error:
        set_up(tmp_path / "bar", rings=tmp_path / "x.csv", pours=tmp_path / "*.json")
    assert len(error.value.problems) == 2 and "x.csv: no such file" in str(error.value)


def test_each_feed_shows_five_rows_as_understood(exports: dict[str, str | Path], tmp_path: Path) -> None:
    folder = tmp_path / "the bar"
    said = set_up(folder, **exports)
    at = next(index for index, line in enumerate(said) if line.startswith("meters (pours)"))
    assert [line.split("  ")[1].count(":") for line in said[at + 1 : at + 6]] == [2] * 5
    assert all(" tap " in line and " L in " in line for line in said[at + 1 : at + 6])
    assert said[-2:] == [
        f'Next:\n      unrung check "{folder}"', f'      unrung catch-up "{folder}" --through 2026-10-24']


def test_fresh_samples_need_no_last_day(exports: dict[str, str | Path], tmp_path: Path) -> None:
    feeds: dict[Carries, tuple[str, ...]] = {
        "rings": (str(exports["rings"]),), "pours": (str(exports["pours"]),)
    }
    said: list[str] = []
    now_ms = round(datetime(2026, 10, 26, 12, tzinfo=UTC).timestamp() * 1000)
    run_setup(Wishes(tmp_path / "bar", feeds), takes_proposals, said.append, "Europe/London", now_ms)
    assert said[-1] == f"      unrung catch-up {tmp_path / 'bar'}"


def test_an_answer_is_taken_and_a_proposal_is_written_down_with_its_reason(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    set_up(tmp_path / "asked", ask=Asked(timezone="Europe/Dublin"), **exports)
    assert load(tmp_path / "asked").venue.timezone == "Europe/Dublin"
    set_up(tmp_path / "yes", **exports)
    text = (tmp_path / "yes/venue.toml").read_text("utf-8")
    assert "# ? In which time zone is the bar (an IANA name)? Taken: Europe/London (" in text


def test_every_line_that_setup_writes_is_narrow_or_a_remark(sample_bar: Path) -> None:
    lines = (sample_bar / "venue.toml").read_text("utf-8").splitlines()
    assert [line for line in lines if len(line) > 110 and not line.startswith("#")] == []


# --- meters that count pulses ---------------------------------------------------------------------------


@pytest.fixture
def pulsing(british: QuietBar, tmp_path: Path) -> dict[str, str | Path]:
    """The same bar with meters of 5,600 pulses a litre (invented)."""
    write_british(british, tmp_path / "in")
    for path in (tmp_path / "in/meters").iterdir():
        lines = path.read_text("utf-8").splitlines()
        rows = [line.split(",") for line in lines[1:]]
        text = ["finished,line,pulses,secs"] + [
            ",".join([row[0], row[1], str(round(float(row[2]) * 5600)), row[3]]) for row in rows
        ]
        stamp = path.stat().st_mtime
        path.write_text("\n".join(text) + "\n", "utf-8")
        os.utime(path, (stamp, stamp))
    return {"rings": tmp_path / "in/till", "pours": tmp_path / "in/meters"}


def test_a_factor_that_is_given_makes_the_very_ledger(
    pulsing: dict[str, str | Path], british: QuietBar, tmp_path: Path
) -> None:
    set_up(tmp_path / "bar", pulses_per_litre="5600", **pulsing)
    rows = ledger_of(tmp_path / "bar", british.days)
    truth = british.truth()
    for (day, _, product), row in rows.items():
        assert abs(row["poured_not_rung"] - truth[day, "", product]["poured_not_rung"]) < 100  # half a pulse
        assert row["matched_portion"] == truth[day, "", product]["matched_portion"]


def test_a_factor_that_is_not_given_is_estimated_and_asked(
    pulsing: dict[str, str | Path], tmp_path: Path
) -> None:
    asked = Asked()
    set_up(tmp_path / "bar", ask=asked, **pulsing)
    factor = load(tmp_path / "bar").taps[0].pulses_per_litre
    assert "pulses" in asked.about and factor is not None and abs(float(factor) / 5600 - 1) < 0.02


def test_running_totals_are_seen_as_such_and_nothing_else_changes(
    british: QuietBar, tmp_path: Path
) -> None:
    """A meter that writes its counter every twenty seconds while beer flows, and now and then besides."""
    write_british(british, tmp_path / "in")
    plain = set_up(tmp_path / "plain", rings=tmp_path / "in/till", pours=tmp_path / "in/meters")
    for path in (tmp_path / "in/meters").iterdir():
        stamp = path.stat().st_mtime
        rows = [line.split(",") for line in path.read_text("utf-8").splitlines()[1:]]
        path.write_text("\n".join(["time,meter,litres total", *_totals(rows)]) + "\n", "utf-8")
        os.utime(path, (stamp, stamp))
    said = set_up(tmp_path / "bar", rings=tmp_path / "in/till", pours=tmp_path / "in/meters")
    feed = load(tmp_path / "bar").feed[1]
    assert (feed.carries, set(feed.fields)) == ("readings", {"meter", "at", "total"})
    assert feed.formats.volume_unit == "l"
    tables = said.index("Taps and what they pour:")
    assert said[tables : tables + 8] == plain[plain.index("Taps and what they pour:") :][:8]
    rows = ledger_of(tmp_path / "bar", british.days)
    found = sum(row["matched_portion"] for row in rows.values())
    assert found > 0.97 * sum(row["matched_portion"] for row in british.truth().values())


def _totals(rows: list[list[str]]) -> list[str]:
    """Pours (end, tap, litres, seconds) as readings of each tap's counter, in time order."""
    found: list[tuple[datetime, str, str]] = []
    totals = dict.fromkeys("AB", Decimal(1000))
    for end, tap, litres, seconds in rows:
        done = datetime.fromisoformat(end)
        found.append((done - timedelta(seconds=int(seconds)), tap, str(totals[tap])))
        totals[tap] += Decimal(litres)
        found.append((done, tap, str(totals[tap])))
        found.append((done + timedelta(seconds=20), tap, str(totals[tap])))
    return [f"{at.isoformat()},{tap},{total}" for at, tap, total in sorted(found, key=lambda one: one[0])]


def test_rings_without_an_offset_and_pours_in_utc_tell_the_zone(british: QuietBar, tmp_path: Path) -> None:
    """A machine without a zone of its own: four hours between rings and pours say where the bar is."""
    write_british(british, tmp_path / "in")
    for path in (tmp_path / "in/till").iterdir():
        stamp, text = path.stat().st_mtime, path.read_text("utf-8")
        path.write_text(text.replace("+01:00", ""), "utf-8")
        os.utime(path, (stamp, stamp))
    asked = Asked()
    given = {"rings": tmp_path / "in/till", "pours": tmp_path / "in/meters"}
    set_up(tmp_path / "bar", machine="UTC", ask=asked, **given)
    offset = datetime(2026, 10, 23, tzinfo=UTC).astimezone(
        ZoneInfo(load(tmp_path / "bar").venue.timezone)).utcoffset()
    assert offset == timedelta(hours=1) and "timezone" in asked.about


def test_how_files_relate_is_asked_once_where_one_file_cannot_tell(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    """The samples are read twice, once by a zone that is tried, since their times have no offset."""
    one = {side: max(Path(folder).iterdir()) for side, folder in exports.items()}
    for path in one.values():
        path.write_text(path.read_text("utf-8").replace("+01:00", "").replace("Z", ""), "utf-8")
    asked = Asked(export="overlap")
    set_up(tmp_path / "bar", ask=asked, **one)
    assert [about for about in asked.about if "export" in about] == ["export"]
    exported = {feed.name: feed.export for feed in load(tmp_path / "bar").feed}
    assert exported == {"till": "append", "meters": "overlap"}  # checks of the till have an id
    set_up(tmp_path / "taken", **one)
    remarks = (tmp_path / "taken/venue.toml").read_text("utf-8")
    assert remarks.count("Will the next export hold rows of this one again?") == 1


@pytest.mark.parametrize("title", ["Business Date", "Date"])
@pytest.mark.parametrize("of_business_days", [True, False])
def test_a_date_that_is_that_of_the_business_day_is_seen_by_the_pours(
    tmp_path: Path, title: str, of_business_days: bool
) -> None:
    """Four evenings from six to two; pours bear the date of the calendar."""
    rng, rings, pours = random.Random(4), [f"{title},Time,Item"], ["Line,Finished,Ounces"]
    for day in range(10, 14):
        now, evening = datetime(2026, 11, day, 18), date(2026, 11, day)  # noqa: DTZ001
        while now < datetime(2026, 11, day + 1, 2):  # noqa: DTZ001
            now += timedelta(seconds=rng.randrange(60, 200))
            rung = now + timedelta(seconds=rng.randrange(20, 70))
            dated = evening if of_business_days else rung.date()
            pours.append(f"1,{now:%Y-%m-%d %H:%M:%S},16.{rng.randrange(90):02d}")
            rings.append(f"{dated},{rung:%H:%M:%S},Amber 16oz")
    (tmp_path / "till.csv").write_text("\n".join([*rings, ""]))
    (tmp_path / "meter.csv").write_text("\n".join([*pours, ""]))
    set_up(tmp_path / "bar", zone="America/New_York", rings=tmp_path / "till.csv",
           pours=tmp_path / "meter.csv")
    till = load(tmp_path / "bar").feed[0]
    assert till.formats.dates == ("business_day" if of_business_days else "calendar")


@pytest.mark.parametrize(("title", "longest"), [("Closed At", 90), ("Closed At", 1), ("Rung At", 90)])
def test_a_till_that_tells_when_a_check_was_closed_is_waited_for(
    tmp_path: Path, title: str, longest: int
) -> None:
    """An afternoon of tables: one pays at once or up to ``longest`` minutes after the last pint."""
    rng, pours, rung = random.Random(3), ["Line,Finished,Ounces"], list[tuple[datetime, int]]()
    for table in range(160):
        now = datetime(2026, 11, 14, 12) + timedelta(minutes=rng.randrange(600))  # noqa: DTZ001
        paid = now + timedelta(seconds=rng.randrange(20, 60 * longest))
        pours.append(f"Amber line,{now:%Y-%m-%d %H:%M:%S},16.{rng.randrange(90):02d}")
        rung.append((paid, table))
    rows = [f"{at:%Y-%m-%d %H:%M:%S},{table},Amber 16oz" for at, table in sorted(rung)]
    (tmp_path / "till.csv").write_text("\n".join([f"{title},Check,Item", *rows, ""]))
    (tmp_path / "meter.csv").write_text("\n".join([*sorted(pours, reverse=True), ""]))
    said = set_up(tmp_path / "bar", zone="America/New_York", rings=tmp_path / "till.csv",
                  pours=tmp_path / "meter.csv")
    late = (title, longest) == ("Closed At", 90)
    assert load(tmp_path / "bar").matching.window_after_minutes == (240 if late else 90)
    assert any("when a check was closed" in " ".join(line.split()) for line in said) == late


@pytest.mark.parametrize(("days", "closed"), [
    ([0, 1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 12, 14], ("fri",)),  # from a Saturday on
    ([0, 1, 2, 3, 4, 5, 7, 8], ()),  # one Friday only
    ([0, 1, 2, 3, 4, 5, 7, 9, 10, 11, 12, 14], ()),  # a Sunday as well, once
    ([0, 7, 14], ()),  # Saturdays alone
    ([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13], ()),
])
def test_weekdays_without_trade_are_seen_where_the_samples_are_long_enough(
    days: list[int], closed: tuple[str, ...]
) -> None:
    zone = ZoneInfo("Europe/Madrid")
    times = [
        round(datetime(2026, 10, 17 + day, hour, 10 * minute, tzinfo=zone).timestamp() * 1000)
        for day in days for hour in range(12, 24) for minute in range(6)
    ]
    assert hours_of(times, "Europe/Madrid") == Hours("04:00", "12:00", "00:00", closed)


@pytest.mark.parametrize(("flow", "taken"), [(2.0, 4), (2.9, 4), (3.4, 5), (3.9, "5.5"), (40, 4)])
def test_taps_that_pour_fast_are_not_taken_for_gas(tmp_path: Path, flow: float, taken: float | str) -> None:
    """One of two taps pours so many ounces a second. Nobody pours 40."""
    rng, pours, rung = random.Random(3), ["Line,Finished,Seconds,Ounces"], ["Rung At,Item"]
    for number in range(160):
        now = datetime(2026, 11, 14, 12) + timedelta(minutes=4 * number)  # noqa: DTZ001
        beer, pace = (("Amber", flow), ("Stout", 1.8))[number % 2]
        ounces = 16 + rng.random()
        lasted = ounces / (pace * rng.uniform(0.94, 1.06))
        pours.append(f"{beer} line,{now:%Y-%m-%d %H:%M:%S},{lasted:.1f},{ounces:.2f}")
        rung.append(f"{now + timedelta(seconds=rng.randrange(20, 60)):%Y-%m-%d %H:%M:%S},{beer} 16oz")
    (tmp_path / "till.csv").write_text("\n".join([*rung, ""]))
    (tmp_path / "meter.csv").write_text("\n".join([*pours, ""]))
    said = set_up(tmp_path / "bar", zone="America/New_York", rings=tmp_path / "till.csv",
                  pours=tmp_path / "meter.csv")
    assert load(tmp_path / "bar").matching.max_flow_per_second == Decimal(taken)
    assert any("which is fast" in line for line in said) == (taken != 4)


# --- on the command line --------------------------------------------------------------------------------


def on_the_command_line(*words: object, answers: str = "") -> tuple[int, str]:
    """Exit code and output of ``setup``, with what a person types."""
    said: list[str] = []
    ran = CliRunner().invoke(setup_command(said.append), [*map(str, words)], input=answers)
    return ran.exit_code, "\n".join([*said, ran.output])


def test_a_choice_is_made_by_number_by_value_or_by_enter(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    feeds = ("--rings", exports["rings"], "--pours", exports["pours"])
    typed = {"": "Europe/London", "2": "Europe/Dublin", "Europe/Jersey": "Europe/Jersey"}
    for answer, zone in typed.items():
        into = tmp_path / zone.replace("/", "_")
        code, said = on_the_command_line(into, *feeds, answers=f"{answer}\n")
        assert code == 0 and "In which time zone is the bar" in said, said
        assert load(into).venue.timezone == zone


def test_what_cannot_be_an_answer_is_asked_for_again(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    feeds = ("--rings", exports["rings"], "--pours", exports["pours"])
    code, said = on_the_command_line(tmp_path / "bar", *feeds, answers="Jersey\n99\nEurope/Jersey\n")
    assert code == 0 and load(tmp_path / "bar").venue.timezone == "Europe/Jersey"
    assert "'Jersey' is no IANA time zone. Did you mean 'Europe/Jersey'?" in said
    assert "'99' is no IANA time zone. Write for example 'America/New_York'." in said


@pytest.mark.parametrize(("about", "choices", "answer", "words"), [
    ("feed: kinds", ("sale", "void"), "3", "Give a number from 1 to 2, a value, or Enter"),
    ("feed: kinds", ("sale", "void"), "void", ""), ("pool", ("yes", "no"), "maybe", "is none of these"),
    ("volume_unit", ("ml", "l"), "litres", "is no unit"), ("volume_unit", ("ml", "l"), "imp_gal", ""),
    ("encoding", ("utf-8",), "iso-8859-15", ""), ("encoding", ("utf-8",), "9", "is no encoding"),
    ("currency", (), "euro", "is no ISO 4217 code"), ("currency", (), "NOK", ""),
    ("pulses", (), "many", "is no count of pulses"), ("pulses", (), "-1", "is no count"),
    ("pulses", (), "5.6", ""),
])  # fmt: skip
def test_an_answer_is_judged_by_what_was_asked(
    about: str, choices: tuple[str, ...], answer: str, words: str
) -> None:
    said = fault(Doubt(about, "?", tuple((one, "") for one in choices), "proposed", ""), answer)
    assert words in said and bool(words) == bool(said)


def test_options_that_cannot_be_are_refused_at_once(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    code, _ = on_the_command_line(tmp_path / "bar", "--rings", exports["rings"], "--pours", exports["pours"],
                                  "--yes", "--timezone", "Jersey", "--pulses-per-litre", "many")
    assert code != 0 and not (tmp_path / "bar").exists()


def test_several_files_may_follow_one_option_as_a_shell_writes_them(
    exports: dict[str, str | Path], tmp_path: Path
) -> None:
    files = sorted(Path(exports["rings"]).iterdir())
    code, said = on_the_command_line(
        tmp_path / "bar", "--rings", *files, "--pours", exports["pours"], "--yes", "--name", "The Heron")
    assert code == 0 and "till (rings): 2 files" in said
    assert load(tmp_path / "bar").venue.name == "The Heron"
