"""What the commands print fits a terminal of 80 columns, helps with an example, and is never coloured."""

from __future__ import annotations

import shlex

import click
import pytest
from click.testing import CliRunner

from unrung.cli import commands
from unrung.terminal import folded, wrong_use


def output(*words: str) -> str:
    ran = CliRunner().invoke(commands, words, prog_name="unrung", color=False)
    assert ran.exit_code == 0, ran.output
    return ran.output


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_every_help_fits_and_gives_an_example_that_the_command_takes(name: str) -> None:
    told = output(name, "--help")
    assert max(map(len, told.splitlines())) <= 80 and "\x1b" not in told
    examples = [line.split("unrung ", 1)[1] for line in told.splitlines() if "  unrung " in line]
    assert examples and all(one.startswith(name) for one in examples)
    for words in (shlex.split(one.partition(" > ")[0])[1:] for one in examples):
        commands.commands[name].make_context(name, words)  # raises where an option is not known


def test_every_key_is_told_within_80_columns_and_as_a_page() -> None:
    told = output("keys")
    assert max(map(len, told.splitlines())) <= 80 and "`" not in told
    page = output("keys", "--markdown").splitlines()
    names = [line.split("`")[1] for line in page if line.startswith("| `")]
    assert len(names) > 100 and all(f"  {name}   " in told for name in names)


def test_a_sentence_is_folded_and_a_row_to_copy_is_not() -> None:
    row = "      " + "Pint of Amber," * 10
    words = "- " + "nobody knows " * 20
    assert folded(row) == row
    assert folded(f"{words}\n\n{row}").split("\n")[-2:] == ["", row]
    lines = folded(words).split("\n")
    assert max(map(len, lines)) <= 80 and " ".join(" ".join(lines).split()) == words.strip()


def test_wrong_use_is_told_with_the_way_to_the_help() -> None:
    with pytest.raises(click.UsageError) as caught:
        commands.main(["catch-up", "bar", "--through", "yesterday"], "unrung", standalone_mode=False)
    told = folded(wrong_use(caught.value))
    assert "Try 'unrung catch-up --help' for help." in told and "'yesterday'" in told
    assert max(map(len, told.splitlines())) <= 80
