"""Mistakes in a feed's mapping, told as sentences before any export is read."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from adapters.exports import FIELDS, mapping
from unrung.mapping import Formats, Mapping
from unrung_adapters.check import check_mapping

CONFIG = Path(__file__).parents[2] / "config" / "venue.toml"


@pytest.mark.parametrize("carries", FIELDS)
def test_a_sound_mapping_has_no_problems(carries: str) -> None:
    assert check_mapping(mapping(carries), "csv") == []


def test_the_feeds_of_the_example_config_have_no_problems() -> None:
    feeds = tomllib.loads(CONFIG.read_text("utf-8"))["feed"]
    for feed in feeds:
        chosen = Mapping(
            feed=feed["name"], carries=feed["carries"], fields=feed["fields"],
            formats=Formats(**feed["formats"]), zone="America/New_York",
        )  # fmt: skip
        assert check_mapping(chosen, feed["adapter"]) == []
    assert len(feeds) == 4


def without(carries: str, *names: str, **more: Any) -> dict[str, Any]:
    return {**{k: v for k, v in FIELDS[carries].items() if k not in names}, **more}


KINDS = {"void": ["VOID"]}
PROBLEMS: list[tuple[str, dict[str, Any], str]] = [
    ("rings", {"fields": without("rings", itme="x")}, "no field 'itme'; did you mean 'item'?"),
    ("rings", {"fields": without("rings", xyzzy="x")}, "no field 'xyzzy'; known are: at, item"),
    ("rings", {"fields": without("rings", "at")}, "'at' is not mapped; rings need it"),
    ("rings", {"fields": without("rings", item=[])}, "mapped to no column"),
    ("rings", {"fields": without("rings", id={"const": "1"})}, "the same for every row"),
    ("pours", {"fields": without("pours", "tap")}, "map 'tap' or 'meter'"),
    ("pours", {"fields": without("pours", "end")}, "two of 'start', 'end' and 'duration'"),
    ("pours", {"fields": without("pours", "volume")}, "map 'volume' or 'pulses'"),
    ("pours", {"volume_unit": None}, "'volume' is a volume without a unit"),
    ("readings", {"fields": without("readings", "total")}, "map 'total' or 'pulses'"),
    ("readings", {"volume_unit": None}, "'total' is a volume without a unit"),
    ("kegs", {"fields": without("kegs", part="p")}, "'part' is a volume without a unit"),
    ("kegs", {"kinds": {}}, "formats.kinds does not say what its texts mean"),
    ("kegs", {"kinds": {"tapped": ["x"]}}, "unknown kind 'tapped'"),
    ("kegs", {"kinds": {"deliverey": ["x"]}}, "did you mean 'delivery'?"),
    ("kegs", {"kinds": {"on": ["x"], "off": [" X "]}}, "under 'on' and 'off'; choose one"),
    ("kegs", {"fields": without("kegs", kind={"const": "moved"})}, "kind 'moved' is not known"),
    ("log", {"fields": without("log", "at")}, "map 'at' or 'day'"),
    ("log", {"fields": without("log", "volume")}, "map 'volume' or 'item'"),
    ("log", {"fields": without("log", "reason"), "kinds": {}}, "'reason' is not mapped"),
    ("log", {"fields": without("log", day="d"), "date": "%m/%d"}, "names no whole date"),
    ("log", {"fields": without("log", day="d"), "date": "%Q"}, "is not a strptime pattern"),
    ("rings", {"kinds": KINDS}, "formats.kinds is set, but the field 'kind' is not mapped"),
    ("rings", {"fields": without("rings", kind="k")}, "formats.kinds does not say"),
    ("pours", {"kinds": KINDS}, "pours have no kinds"),
    ("rings", {"time": "epoch"}, "not a strptime pattern ('iso', 'epoch_s', 'epoch_ms' and 'sheet_days'"),
    ("rings", {"time": "%m/%d/%Y"}, "names no time of day"),
    ("rings", {"time": "%H:%M"}, "names no whole date"),
    ("rings", {"time": "%m/%d/%Y %I:%M"}, "cannot tell morning from evening"),
    ("rings", {"time": "%Y-%m-%d %H:%Q"}, "is not a strptime pattern"),
    ("rings", {"time": "%Y-%m-%d %H:%M %"}, "is not a strptime pattern"),
    ("rings", {"zone": "America/New_Yrok"}, "did you mean 'America/New_York'?"),
    ("rings", {"zone": "America"}, "the zone 'America' is unknown"),
    ("rings", {"zone": ""}, "the zone '' is unknown"),
    ("rings", {"encoding": "utf8mb4"}, "formats.encoding 'utf8mb4' is unknown"),
    ("rings", {"encoding": "rot13"}, "formats.encoding 'rot13' is unknown"),
    ("rings", {"delimiter": '"'}, "formats.delimiter and formats.quote are the same"),
    ("rings", {"delimiter": "\n"}, "formats.delimiter cannot be a line end"),
    ("rings", {"decimal": ",", "thousands": ","}, "a number could mean two things"),
    ("rings", {"currency_marks": [""]}, "holds an empty mark"),
]


@pytest.mark.parametrize(("carries", "settings", "words"), PROBLEMS)
def test_a_mistake_is_told_once_with_the_feed_and_what_to_do(
    carries: str, settings: dict[str, Any], words: str
) -> None:
    (problem,) = check_mapping(mapping(carries, **settings))
    assert problem.startswith("Feed 'till': ") and words in problem
    assert problem.endswith((".", "?"))


def test_several_mistakes_are_told_together() -> None:
    chosen = mapping("pours", {"start": "a"}, volume_unit=None, zone="Mars", time="%d")
    assert len(check_mapping(chosen)) == 6


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"fields": {"at": "at", "item": "/item"}}, "the field 'at' is mapped to what is no pointer"),
        ({"fields": {"at": "/at", "item": "/it~em"}}, "'/it~em' is not a JSON pointer"),
        ({"fields": {"at": "/at", "item": "/i"}, "rows": "checks"}, "formats.rows: 'checks' is not"),
        ({"fields": {"at": "/at", "item": "/i"}, "skip_rows": [{"column": "x", "values": []}]}, "skip_rows"),
    ],
)  # fmt: skip
def test_pointers_are_checked_for_json_alone(settings: dict[str, Any], words: str) -> None:
    chosen = mapping(**settings)
    (problem,) = check_mapping(chosen, "json")
    assert words in problem
    assert check_mapping(chosen, "csv") == []
