"""A day is issued again only if what it says has changed."""

from __future__ import annotations

from dataclasses import replace

from issue.ledgers import leaf, settings, small_day
from unrung.issue.daily import daily_files
from unrung.issue.digest import NO_REVISION, content_digest
from unrung.ledger.results import DayLedger, Volumes


def digest_of(day: DayLedger) -> str:
    return content_digest(daily_files(day, settings(), NO_REVISION))


def test_the_digest_of_a_day_is_that_of_its_files_without_a_revision() -> None:
    files = daily_files(small_day(), settings(), NO_REVISION)
    assert content_digest(dict(reversed(files.items()))) == content_digest(files)
    assert content_digest(daily_files(small_day(), settings(), 2)) != content_digest(files)


def test_the_bytes_of_two_revisions_differ_in_the_revision_alone() -> None:
    first, second = (daily_files(small_day(), settings(), number) for number in (4, 5))
    changed = {name for name in first if first[name] != second[name]}
    assert changed == {"variance-2026-10-31.csv", "windows-2026-10-31.csv", "datapackage.json"}
    assert first["variance-2026-10-31.csv"].replace(b",4\r\n", b",5\r\n") == (
        second["variance-2026-10-31.csv"]
    )


def test_one_more_drop_changes_the_digest_and_a_drop_below_the_last_digit_does_not() -> None:
    first = small_day().leaves[0]
    rest = leaf(22, "Bar", "Stout", Volumes(matched_portion=568_261))
    digests = [
        digest_of(small_day(leaves=(first, leaf(22, "Bar", "Stout", volumes))))
        for volumes in (rest.volumes, *(replace(rest.volumes, logged=ul) for ul in (1, 30)))
    ]
    assert digests[0] == digests[1] != digests[2]


def test_another_status_changes_the_digest() -> None:
    assert digest_of(small_day(status="incomplete")) != digest_of(small_day())


def test_the_wording_of_the_data_package_does_not_count() -> None:
    files = daily_files(small_day(), settings(), NO_REVISION)
    assert content_digest(files) == content_digest(files | {"datapackage.json": b"{}"})


def test_a_moved_cell_boundary_cannot_hide() -> None:
    assert content_digest({"a": b"bc", "d": b""}) != content_digest({"a": b"b", "d": b"c"})
