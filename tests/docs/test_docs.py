"""The documents cannot go stale: keys are the models', commands exist, blocks of settings are read."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from unrung.cli import commands
from unrung.config_reference import reference
from unrung.ledger.results import Volumes
from unrung.parquet.reference import reference as columns_reference
from unrung.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "daemon" / "unrung" / "docs"
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]


def test_the_page_of_keys_is_what_the_models_say() -> None:
    assert (DOCS / "config_keys.md").read_text("utf-8") == reference() + "\n", (
        "run: unrung keys --markdown > daemon/unrung/docs/config_keys.md"
    )


def test_every_key_has_words_of_its_own() -> None:
    silent = [line for line in reference().splitlines() if re.match(r"\| `\w+` \|.*\|\s+\|$", line)]
    assert silent == []


def test_every_command_stands_in_the_readme_and_has_an_example() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    for name, command in commands.commands.items():
        assert f"unrung {name}" in readme or f"`{name}" in readme, name
        assert re.search("Examples?:", command.help or ""), name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_that_a_page_names_exist(page: Path) -> None:
    named = set(re.findall(r"`unrung ([a-z][a-z-]+)", page.read_text("utf-8")))
    assert named <= set(commands.commands), named - set(commands.commands)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_blocks_of_settings_in_a_page_are_read(page: Path) -> None:
    for block in re.findall(r"```toml\n(.*?)```", page.read_text("utf-8"), re.S):
        raw = tomllib.loads(block)
        for name, value in raw.items():
            assert name in Settings.model_fields, name
            if name in ("mail", "schedule", "matching", "files"):
                Settings.model_fields[name].annotation.model_validate(value)  # type: ignore[union-attr]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_within_the_project_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


@pytest.mark.parametrize("name", ["method.md", "for_the_accountant.md"])
def test_the_identity_of_a_page_is_the_one_that_is_computed(name: str) -> None:
    text = (DOCS / name).read_text("utf-8").replace("\n               +", " +")
    primes = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37)
    sums = Volumes(**dict(zip(Volumes.__dataclass_fields__, primes, strict=True)))
    for figure in ("poured", "rung", "portion_difference", "variance"):
        (told,) = re.findall(rf"^    {figure} += ([a-z_ +-]+)$", text, re.M)
        terms = re.findall(r"([+-]?) ?([a-z_]+)", told)
        total = sum((-1 if sign == "-" else 1) * getattr(sums, term) for sign, term in terms)
        assert total == getattr(sums, figure), figure


def test_the_page_of_the_export_names_every_column() -> None:
    assert columns_reference() in (DOCS / "parquet.md").read_text("utf-8"), (
        "replace its tables by what unrung.parquet.reference.reference() says"
    )
