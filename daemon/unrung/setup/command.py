"""The commands ``setup`` and ``add-item``; they say everything through what they are given."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from unrung.errors import ConfigError, UnrungError

if TYPE_CHECKING:
    from unrung.mapping import Carries
    from unrung.setup.doubt import Doubt

Say = Callable[[str], None]
_FEEDS = ("rings", "pours", "kegs", "log")


class _ManyValues(click.Command):
    """Lets ``--rings A B C`` mean ``--rings A --rings B --rings C``: what a shell makes of ``*``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        return super().parse_args(ctx, _spread(args))


def _spread(args: list[str]) -> list[str]:
    """Each value of a feed's option with the option before it.

    >>> _spread(["bar", "--rings", "a", "b", "--yes"])
    ['bar', '--rings', 'a', '--rings', 'b', '--yes']
    """
    out: list[str] = []
    option = ""
    for arg in args:
        if arg.startswith("-"):
            option = arg if arg.removeprefix("--") in _FEEDS else ""
            out.append(arg)
        elif option and out[-1] != option:
            out += [option, arg]
        else:
            out.append(arg)
    return out


def setup_command(say: Say) -> click.Command:
    """``unrung setup``."""

    @click.command("setup", cls=_ManyValues)
    @click.argument("folder", type=click.Path(path_type=Path))
    @click.option("--rings", multiple=True, required=True,
                  help="Exports of the till: files, a folder, a pattern.")
    @click.option("--pours", multiple=True, required=True, help="Exports of the flow meters.")
    @click.option("--kegs", multiple=True, help="Exports of the cellar: kegs on, delivered, counted.")
    @click.option("--log", multiple=True, help="What is written down: waste, staff drinks, cleaning.")
    @click.option("--name", default="", help="The venue's name.")
    @click.option("--timezone", default="", help="Its IANA time zone, such as America/New_York.")
    @click.option("--pulses-per-litre", default="", help="The meters' factor, where they count pulses.")
    @click.option("--in-place", is_flag=True, help="Exports come where the samples lie, and stay there.")
    @click.option("--yes", is_flag=True, help="Take what is proposed, ask nothing.")
    @click.option("--force", is_flag=True, help="Write over a config that is there.")
    def setup(folder: Path, yes: bool, **given: Any) -> None:
        """Look at sample exports and write a config folder.

        A few days of each export are better than one: they show how the files relate, and which beer
        each tap pours.

        \b
        Example:  unrung setup my-bar --rings till/*.csv --pours meters/*.json
        """
        from unrung.setup.answers import factor_fault, zone_fault
        from unrung.setup.doubt import takes_proposals
        from unrung.setup.run import Wishes, run_setup

        feeds: dict[Carries, tuple[str, ...]] = {
            "rings": given.pop("rings"), "pours": given.pop("pours"), "kegs": given.pop("kegs"),
            "log": given.pop("log"),
        }
        wrong = [
            f"--{name.replace('_', '-')}: {said}"
            for name, look in (("timezone", zone_fault), ("pulses_per_litre", factor_fault))
            if given[name] and (said := look(given[name]))
        ]
        if wrong:
            raise ConfigError(wrong)
        wishes = Wishes(folder, feeds, **given)
        ask = takes_proposals if yes else lambda doubt: _asked(doubt, say)
        try:
            run_setup(wishes, ask, say, _machine_zone(), time.time_ns() // 1_000_000)
        except ConfigError:
            raise
        except UnrungError as error:  # of the samples that were given: wrong use, no failure of ours
            raise ConfigError([str(error)]) from error

    return setup


def add_item_command(say: Say) -> click.Command:
    """``unrung add-item``."""

    @click.command("add-item")
    @click.argument("config", type=click.Path(path_type=Path))
    @click.argument("item", default="")
    @click.option("--size", default="", help="Its size, where the till keeps it apart.")
    @click.option("--product", default="", help="The beer, as products.csv calls it.")
    @click.option("--portion", default="", help="What runs through the meter for one.")
    @click.option("--unit", default="", help="Of the portion; the venue's unit by default.")
    @click.option("--price", default="", help="What one costs.")
    @click.option("--from", "since", default="", help="First day it applies to, such as 2026-11-01.")
    @click.option("--not-draught", is_flag=True, help="It is no draught beer, whatever its name.")
    def add_item(config: Path, item: str, **given: Any) -> None:
        """Add an item of the till to menu.csv.

        Without ITEM, those that are lacking are named. Beer and portion are proposed by the item's name,
        by other items of its size, and by the pours that its sales lie beside.

        \b
        Example:  unrung add-item my-bar "Sluice Gate Bitter Snifter" --portion 8
        """
        from unrung.menu_add import Wanted, say_unlisted
        from unrung.menu_add import add_item as add

        now_ms = time.time_ns() // 1_000_000
        if item:
            add(config, Wanted(item, **given), now_ms, say)
        elif not say_unlisted(config, now_ms, say):
            say("The menu lists every item that looks like draught beer.")

    return add_item


def _asked(doubt: Doubt, say: Say) -> str:
    """A person's answer: the number of a choice, a value, or Enter for what is proposed. It is asked for
    until it can be used."""
    from unrung.setup.answers import fault

    say("")
    say(doubt.question)
    for number, (value, meaning) in enumerate(doubt.choices, 1):
        say(f"  {number}  {value or '(leave open)'}{'  ' + meaning if meaning else ''}")
    say(f"  Proposed: {doubt.proposed or '(leave open)'}; {doubt.why}.")
    values = [value for value, _ in doubt.choices]
    while True:
        answer = str(click.prompt("Your choice", default=doubt.proposed, show_default=True)).strip()
        if answer.isdigit() and 1 <= int(answer) <= len(values) and answer not in values:
            return values[int(answer) - 1]
        wrong = fault(doubt, answer)
        if not wrong:
            return answer
        say(wrong)


def _machine_zone() -> str:
    """This machine's IANA zone; "" where it has none."""
    import tzlocal

    try:
        return str(tzlocal.get_localzone_name() or "")
    except (LookupError, OSError, ValueError):
        return ""
