"""``unrung check`` as a good colleague, and ``unrung add-item``."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest
import trustme

from mail.servers import Desk, server_tls, serving, silent
from unrung.checking import Report, check_folder
from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.menu_add import Wanted, add_item
from venue_folder import VenueFolder, make_venue, ms, pour, ring, till_csv

NOW = ms("06-12 12:00:00")


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


@pytest.fixture
def evening(venue: VenueFolder) -> VenueFolder:
    """Thirty pints of amber, all rung half a minute after; four snifters of 8 fl oz; a burger."""
    rings, pours = [ring("19:00:00", "Burger")], []
    for number in range(30):
        at = f"{18 + number // 10}:{number % 10 * 6:02d}"
        pours.append(pour(f"p{number}", f"{at}:00"))
        rings.append(ring(f"{at}:30"))
    for number in range(4):
        pours.append(pour(f"s{number}", f"21:{10 + 9 * number}:00", ml=236.6))
        rings.append(ring(f"21:{10 + 9 * number}:30", "Amber Snifter"))
    venue.rings("a.csv", sorted(rings, key=lambda row: row["Time"]))
    venue.pours("a.json", pours)
    return venue


def check(venue: VenueFolder, environ: dict[str, str] | None = None) -> Report:
    return check_folder(venue.path, NOW, environ or {})


def digest(venue: VenueFolder) -> str:
    """Names, bytes and times of everything in the folder."""
    whole = hashlib.sha256()
    for path in sorted(venue.path.rglob("*")):
        whole.update(f"{path.relative_to(venue.path)} {path.stat().st_mtime_ns}".encode())
        whole.update(path.read_bytes() if path.is_file() else b"")
    return whole.hexdigest()


def after(report: Report, start: str) -> list[str]:
    """Two lines from the one that begins so."""
    at = next(index for index, line in enumerate(report.lines) if line.strip().startswith(start))
    return report.lines[at : at + 2]


@pytest.mark.parametrize("taken", [False, True])
def test_the_menu_row_that_is_lacking_is_said_word_for_word(evening: VenueFolder, taken: bool) -> None:
    """Before anything is taken in its portion is open; then the pours beside its rings tell."""
    if taken:
        evening.intake()
    said, row = after(check(evening), "Amber Snifter, sold 4 times")
    assert row.strip() == ("Amber Snifter,Amber,8," if taken else "Amber Snifter,Amber,,")
    assert ("by 4 pours of about 237 mL" in said) is taken
    assert not any("Pint of Amber, sold" in line for line in check(evening).lines), "it is listed"


def test_a_burger_is_none_of_our_business(evening: VenueFolder) -> None:
    assert not any("Burger" in line for line in check(evening).lines if "at 2025" not in line)


def test_an_export_taken_in_is_shown_as_it_would_be_read_now(evening: VenueFolder) -> None:
    evening.intake()
    assert "till: taken in last, a.csv gives 35 rows" in check(evening).lines
    evening.edit("venue.toml", 'at = "Time"', 'at = "Clock"')
    report = check(evening)
    assert report.problems == 1 and "has no column 'Clock'" in "".join(report.lines)


def test_a_check_changes_nothing_waiting_taken_in_or_while_somebody_works(evening: VenueFolder) -> None:
    before = digest(evening)
    check(evening)
    assert digest(evening) == before
    evening.catch_up()
    with evening.open():
        before = digest(evening)
        check(evening)
        assert digest(evening) == before


def test_lines_fit_a_terminal_but_rows_to_be_copied_stay_whole(evening: VenueFolder) -> None:
    evening.intake()
    report = check(evening)
    assert any(len(line) > 80 for line in report.lines)
    long = [line for line in report.shown() if len(line) > 80]
    assert all(" " not in line.strip() or line.startswith(" " * 6) for line in long)
    assert " ".join("".join(report.shown()).split()).count("Amber Snifter,Amber,8") == 1


# --- the mail server ---------------------------------------------------------------------------------


def with_mail(venue: VenueFolder, port: int, *lines: str) -> VenueFolder:
    text = (venue.path / "venue.toml").read_text("utf-8")
    mail = ["[mail]", 'sender = "bar@example.org"', 'to = ["m@example.org"]', 'host = "127.0.0.1"',
            f"port = {port}", "timeout_seconds = 2", *lines]
    (venue.path / "venue.toml").write_text("\n".join([text, *mail, ""]), "utf-8")
    return venue


@pytest.fixture(scope="module")
def ca(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[trustme.CA, Path]]:
    authority = trustme.CA()
    path = tmp_path_factory.mktemp("ca") / "ca.pem"
    authority.cert_pem.write_to_path(path)
    yield authority, path


def test_the_mail_server_is_greeted_and_logged_in_to_and_gets_no_mail(
    venue: VenueFolder, ca: tuple[trustme.CA, Path]
) -> None:
    desk = Desk()
    with serving(desk, tls=server_tls(ca[0]), password="right") as port:
        with_mail(venue, port, f'ca_file = "{ca[1].as_posix()}"', 'user = "bar"')
        good = check(venue, {"UNRUNG_MAIL_PASSWORD": "right"})
        bad = check(venue, {"UNRUNG_MAIL_PASSWORD": "wrong"})
    assert good.problems == 0
    assert any("takes the log-in of 'bar'; nothing was sent" in line for line in good.lines)
    assert bad.problems == 1 and any("log-in refused" in line for line in bad.lines)
    assert desk.taken == []


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (['user = "bar"'], "there is no password"),
        ([], "does not offer what is asked for"),  # no encryption there
        (['security = "tls"'], "does not speak tls"),
        (['ca_file = "nowhere.pem"'], "cannot be used as PEM"),
    ],
)
def test_what_is_wrong_with_the_mail_is_a_problem_with_its_fix(
    venue: VenueFolder, lines: list[str], said: str
) -> None:
    with serving(Desk()) as port:
        report = check(with_mail(venue, port, *lines))
    assert report.problems == 1 and said in "".join(report.lines)


def test_a_server_that_never_answers_does_not_hold_the_check_up(venue: VenueFolder) -> None:
    with silent() as port:
        report = check(with_mail(venue, port))
    assert report.problems == 1 and "could not be reached" in "".join(report.lines)


def test_a_file_whose_name_is_no_export_s_is_named(venue: VenueFolder) -> None:
    """A till that calls its exports otherwise since its last update; lock files are not told."""
    venue.rings("a.csv", [ring("20:00:00")])
    for name in ("sales.txt", "~$sales.xlsx", ".hidden"):
        venue.drop(venue.till / name, b"Time,Item\n")
    said = " ".join(check(venue).lines)
    assert f"till: 1 file lies in {venue.till} and cannot come in, since its name does not go with" in said
    assert "'*.csv': sales.txt. If such a file is an export, set pattern of feed 'till'" in said


def test_older_exports_are_no_matter_once_the_settings_follow_the_source(venue: VenueFolder) -> None:
    """The till renamed a column, and the person did what was said: nothing is left to mend."""
    venue.rings("a.csv", [ring("20:00:00")])
    venue.catch_up()
    venue.drop(venue.till / "b.csv", till_csv([ring("21:00:00")]).replace(b"Qty", b"Quantity"))
    venue.catch_up()
    assert check(venue).problems
    venue.edit("venue.toml", '"Qty"', '"Quantity"')
    report = check(venue)
    assert "till: b.csv was set aside and gives 1 rows now; it is taken in by itself" in report.lines
    assert not report.problems, report.lines


def test_an_outlet_that_taps_csv_calls_otherwise_is_named(venue: VenueFolder) -> None:
    venue.edit("venue.toml", 'outlet = {const = "Bar"}', 'outlet = "Check"')
    venue.rings("a.csv", [ring("20:00:00", check="Snug"), ring("20:01:00", check="Bar"),
                          ring("20:02:00", "Burger", check="Kitchen")])
    said = "  1 sale of draught beer at 'Snug', where no tap stands: they find no pour. taps.csv has Bar."
    assert said in check(venue).lines
    venue.catch_up()
    lines = check(venue).lines
    assert said in lines and not any("Kitchen" in line for line in lines if "where no tap" in line)


def test_nobody_to_write_to_is_a_problem(venue: VenueFolder) -> None:
    with serving(Desk()) as port:
        with_mail(venue, port, 'security = "none"')
        venue.edit("venue.toml", 'to = ["m@example.org"]', "to = []")
        report = check(venue)
    assert report.problems == 1 and "[mail] to is empty" in "".join(report.lines)


# --- add-item ----------------------------------------------------------------------------------------


def add(venue: VenueFolder, item: str, **wanted: object) -> str:
    """Adds the item; the last line of the menu."""
    add_item(venue.path, Wanted(item, **wanted), NOW, lambda _: None)  # type: ignore[arg-type]
    return (venue.path / "menu.csv").read_text("utf-8").splitlines()[-1]


def test_one_command_lists_an_item_and_its_days_are_computed_again(evening: VenueFolder) -> None:
    evening.catch_up()
    assert add(evening, "Amber Snifter") == "Amber Snifter,Amber,8,"
    assert "2025-06-10" in "".join(check(evening).lines)
    revisions = [issued.revision for issued in evening.catch_up().issued if issued.changed]
    assert revisions == [2]


@pytest.mark.parametrize(
    ("item", "wanted", "line"),
    [
        ("Amber Jug", {"portion": "50", "price": "20"}, "Amber Jug,Amber,50,20"),
        ("Amber Jug", {"portion": "1", "unit": "imp_pt"}, "Amber Jug,Amber,19.215,"),
        ("Amber 12oz", {}, "Amber 12oz,Amber,12,"),
        ("Half of Stout", {}, "Half of Stout,Stout,8,"),  # the menu's pints are of 16
        ("Amber Cap", {"not_draught": True}, "Amber Cap,,,"),
        ("Black and Tan", {"product": "Stout", "portion": "8"}, "Black and Tan,Stout,8,"),
    ],
)
def test_a_row_is_as_said_or_as_proposed(
    venue: VenueFolder, item: str, wanted: dict[str, object], line: str
) -> None:
    """This menu has no column for units: the venue's is meant."""
    assert add(venue, item, **wanted) == line


@pytest.mark.parametrize(
    ("item", "wanted", "said"),
    [
        ("Amber Jug", {}, "add --portion"),
        ("Cask Special", {}, "name one with --product"),
        ("Cask Special", {"product": "Ambr", "portion": "16"}, "did you mean 'Amber'"),
        ("Amber Jug", {"portion": "a lot"}, "write a number"),
        ("Amber Jug", {"portion": "1", "unit": "pint"}, "'pint' is not known"),
        ("Pint of Amber", {"portion": "20"}, "lists 'Pint of Amber' already"),
        ("Burger", {"product": "Amber", "portion": "1"}, "already, as no draught beer"),
        ("Amber Jug", {"portion": "50", "since": "2025-06-01"}, "no column 'from'"),
    ],
)
def test_what_cannot_be_added_leaves_the_menu_as_it_was(
    venue: VenueFolder, item: str, wanted: dict[str, object], said: str
) -> None:
    before = digest(venue)
    with pytest.raises(ConfigError, match=said):
        add(venue, item, **wanted)
    assert digest(venue) == before


def test_the_menu_keeps_its_spreadsheet_s_form(venue: VenueFolder) -> None:
    """Semicolons, a byte-order mark, line ends of Windows, decimal commas, no end to the last line."""
    old = (venue.path / "menu.csv").read_text("utf-8").replace(",", ";").strip().replace("\n", "\r\n")
    (venue.path / "menu.csv").write_bytes(b"\xef\xbb\xbf" + old.encode())
    add(venue, "Amber Jug", portion="50.5")
    content = (venue.path / "menu.csv").read_bytes()
    assert content == b"\xef\xbb\xbf" + old.encode() + b"\r\nAmber Jug;Amber;50,5;\r\n"
    assert load(venue.path).menu[-1].portion_ul == 1_493_463
