"""datapackage.json against the reference implementation of the Frictionless standards.

Data Package, Tabular Data Resource, CSV Dialect and Table Schema: specs.frictionlessdata.io.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
from frictionless import Package, validate
from frictionless.resources import TableResource
from hypothesis import HealthCheck, given
from hypothesis import settings as limits

from issue.ledgers import DAY, days, lone, settings, small_day
from unrung.issue.daily import daily_files
from unrung.ledger.results import DayLedger
from unrung.settings import Settings


def written(folder: Path, ledger: DayLedger, venue: Settings) -> Package:
    for name, content in daily_files(ledger, venue, 3).items():
        (folder / name).write_bytes(content)
    return Package(str(folder / "datapackage.json"))


def rows(package: Package, name: str) -> list[Any]:
    resource = package.get_resource(name)
    assert isinstance(resource, TableResource)
    return list(resource.read_rows())


STYLES: list[dict[str, Any]] = [
    {}, {"csv_delimiter": ";"}, {"csv_bom": False}, {"csv_decimal": ","},
]


@pytest.mark.parametrize("style", STYLES)
def test_the_reference_library_finds_the_package_valid(
    tmp_path: Path, style: dict[str, Any]
) -> None:
    report = written(tmp_path, small_day(), settings(**style)).validate()
    assert report.valid, report.flatten(["title", "message"])
    assert [task.stats["rows"] for task in report.tasks] == [3, 3, 2, 2, 1, 2]


@limits(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ledger=days())
def test_any_day_is_valid(tmp_path: Path, ledger: DayLedger) -> None:
    report = written(tmp_path, ledger, settings()).validate()
    assert report.valid, report.flatten(["title", "message"])


def test_an_empty_day_and_rows_with_nothing_but_the_needed_are_valid(tmp_path: Path) -> None:
    bare = lone("", outlet="", tap="", source_feed="", source_file="", source_id="")
    day = DayLedger(DAY, (), (), (bare,), (), ())
    report = written(tmp_path, day, settings()).validate()
    assert report.valid, report.flatten(["title", "message"])


def test_the_declared_types_give_numbers_and_times_back(tmp_path: Path) -> None:
    package = written(tmp_path, small_day(), settings(csv_delimiter=";"))
    variance = rows(package, "variance")[0]
    assert str(variance["variance"]) == "45.526"  # 2 x (10.144 - 3.381 + 32.000 - 16.000)
    assert (variance["revision"], variance["status"]) == (3, "final")
    unmatched = rows(package, "unmatched")[1]
    assert unmatched["uncertain"] is True
    assert unmatched["at_local"].utcoffset().total_seconds() == -4 * 3600


def test_hash_and_size_are_those_of_the_bytes() -> None:
    files = daily_files(small_day(), settings(), 1)
    for resource in json.loads(files["datapackage.json"])["resources"]:
        content = files[resource["path"]]
        assert resource["bytes"] == len(content)
        assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_the_descriptor_is_written_as_json_is(delimiter: str) -> None:
    text = daily_files(small_day(), settings(csv_delimiter=delimiter), 1)["datapackage.json"].decode()
    assert text == json.dumps(json.loads(text), ensure_ascii=False, indent=2) + "\n"


def test_a_changed_byte_is_noticed(tmp_path: Path) -> None:
    written(tmp_path, small_day(), settings())
    target = tmp_path / f"till-{DAY}.csv"
    target.write_bytes(target.read_bytes().replace(b",46", b",47"))
    report = validate(str(tmp_path / "datapackage.json"))
    assert not report.valid
    assert {row[0] for row in report.flatten(["type"])} == {"hash-count"}


def test_a_wrong_word_in_the_status_breaks_the_declared_constraint(tmp_path: Path) -> None:
    written(tmp_path, small_day(), settings())
    target = tmp_path / f"variance-{DAY}.csv"
    target.write_bytes(target.read_bytes().replace(b",final,", b",tidy,"))
    report = validate(str(tmp_path / "datapackage.json"))
    assert "constraint-error" in {row[0] for row in report.flatten(["type"])}


def test_every_column_says_what_it_is_and_every_figure_in_what(tmp_path: Path) -> None:
    package = written(tmp_path, small_day(), settings("imp_fl_oz"))
    said = {
        (resource.name, field.name): field.description or ""
        for resource in package.resources for field in resource.schema.fields
    }
    assert [key for key, text in said.items() if not text.endswith(".")] == []
    fields = {column: text for (name, column), text in said.items() if name == "variance"}
    assert fields["logged"].endswith("In imp fl oz.")
    assert "poured less not_beer and poured_not_compared" in fields["variance_pct"]
    assert "USD" in fields["variance_cost"]
