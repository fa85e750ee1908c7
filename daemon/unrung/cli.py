"""The commands: the only place that prints and sets exit codes.

Exit codes: 0 done; 1 something needs attention; 2 wrong use or config; 3 could not finish; 4, of
``run`` alone: the store cannot be used, and starting again does not help.
Heavy modules are imported by the commands that need them, so that ``--help`` is instant.
"""

from __future__ import annotations

import json
import os
import sys
import time
import traceback
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from unrung import __version__
from unrung.errors import ConfigError, StoreLost, UnrungError
from unrung.group.command import group_command
from unrung.install.command import service_command
from unrung.parquet.command import export_command
from unrung.restore_command import restore_command
from unrung.setup.command import add_item_command, setup_command
from unrung.terminal import folded, spell_unknown_characters, wrong_use

if TYPE_CHECKING:
    from unrung.settings import Settings
    from unrung.store.open import Store

DONE, ATTENTION, WRONG_USE, UNFINISHED, STORE_LOST = 0, 1, 2, 3, 4

def _say(text: str, *, err: bool = False) -> None:
    click.echo(folded(text), err=err)


CONFIG = click.argument("config", type=click.Path(path_type=Path))


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="unrung")
def commands() -> None:
    """Matches till rings with metered draught pours and says where the beer went.

    Try it first on the samples:  unrung demo
    """


def main() -> None:
    """Run the command line; every expected failure becomes a sentence, never a traceback."""
    spell_unknown_characters()
    try:
        commands(standalone_mode=False)
    except click.exceptions.Abort:
        _fail("stopped", UNFINISHED)
    except click.ClickException as error:
        _say(wrong_use(error), err=True)
        sys.exit(WRONG_USE)
    except click.exceptions.Exit as error:
        sys.exit(error.exit_code)
    except ConfigError as error:
        for problem in error.problems:
            _say(f"- {problem}", err=True)
        sys.exit(WRONG_USE)
    except UnrungError as error:
        _fail(str(error), UNFINISHED)
    except OSError as error:
        said = error.strerror or str(error) or type(error).__name__
        _fail(f"{error.filename}: {said}" if error.filename else said, UNFINISHED)
    except Exception:  # noqa: BLE001 - a fault of ours is told as one, with what a report needs
        traceback.print_exc()
        _fail("this is a fault of the program; please report the lines above", UNFINISHED)


@commands.command()
@click.option("--into", "folder", type=click.Path(path_type=Path), default=Path("unrung-demo"),
              show_default=True, help="Folder for the demo's files; made anew.")
@click.option("--samples", type=click.Path(path_type=Path), default=None,
              help="Folder that holds sample_exports and config.")
def demo(folder: Path, samples: Path | None) -> None:
    """Run the whole job on a week of an invented venue.

    \b
    Example:  unrung demo --into demo-week
    """
    from unrung.demo import run_demo

    sys.exit(DONE if run_demo(folder, samples, _say) else UNFINISHED)


@commands.command()
@CONFIG
def check(config: Path) -> None:
    """Say everything that is wrong with a config folder.

    How waiting files and addresses would be read is shown too. Changes nothing.

    \b
    Example:  unrung check my-bar
    """
    from unrung.checking import check_folder

    report = check_folder(config, _now_ms(), os.environ)
    click.echo("\n".join(report.shown()))
    sys.exit(ATTENTION if report.problems else DONE)


@commands.command()
@CONFIG
def run(config: Path) -> None:
    """Run the service in the foreground, until Ctrl-C.

    \b
    Example:  unrung run my-bar
    """
    from unrung.service.run import run_service

    try:
        sys.exit(run_service(config))
    except StoreLost as error:
        _fail(str(error), STORE_LOST)


@commands.command("catch-up")
@CONFIG
@click.option("--through", type=click.DateTime(["%Y-%m-%d"]), default=None, metavar="DATE",
              help="Last business day to issue, such as 2026-10-31.")
def catch_up_command(config: Path, through: datetime | None) -> None:
    """Take in what waits, issue what is due, send mails, and end.

    \b
    Example:  unrung catch-up my-bar --through 2026-10-31
    """
    from unrung.catch_up import catch_up
    from unrung.upkeep import nightly

    settings, db = _open(config, alone=True)
    last = through.date() if through else None
    _let_settle(settings)
    done = catch_up(db, settings, _now_ms(), _say, os.environ, through=last)
    done.problems += nightly(db, settings, _now_ms())
    for problem in done.problems:
        _say(f"! {problem}", err=True)
    for name in done.waiting:
        _say(f"  waiting: {name} (still being written?)")
    if not done.taken and not done.issued:
        _say("Nothing was waiting.")
    sys.exit(ATTENTION if done.needs_attention else DONE)


@commands.command()
@CONFIG
@click.option("--day", type=click.DateTime(["%Y-%m-%d"]), default=None, metavar="DATE",
              help="Business day, such as 2026-10-31.")
@click.option("--month", default=None, help="Month or period, such as 2026-11 or 2026-P03.")
def reissue(config: Path, day: datetime | None, month: str | None) -> None:
    """Make a day's or a month's files again.

    It is a next revision if anything differs. The files of a closed month are put back as they were.

    \b
    Examples:  unrung reissue my-bar --day 2026-10-31
               unrung reissue my-bar --month 2026-10
    """
    from unrung.reissuing import reissue_day, reissue_month

    if (day is None) == (month is None):
        raise click.UsageError("name either --day or --month")
    settings, db = _open(config, alone=True)
    done = (reissue_day(db, settings, day.date(), _now_ms()) if day
            else reissue_month(db, settings, month or "", _now_ms()))
    _say(done.said)
    for problem in done.problems:
        _say(f"! {problem}", err=True)
    sys.exit(ATTENTION if done.problems else DONE)


@commands.command("close-month")
@CONFIG
@click.option("--month", required=True, help="Month or period, such as 2026-11 or 2026-P03.")
@click.option("--accept", is_flag=True, help="Close although the things listed stand open.")
def close_month_command(config: Path, month: str, accept: bool) -> None:
    """Close a month: what comes later leaves its files alone.

    A later difference is written down in the open month. What stands open is listed first;
    --accept closes all the same and keeps the list.

    \b
    Example:  unrung close-month my-bar --month 2026-10
    """
    from unrung.closing import close

    settings, db = _open(config, alone=True)
    done = close(db, settings, month, _now_ms(), accept=accept)
    for text in done.lines:
        _say(text, err=not done.closed)
    sys.exit(DONE if done.closed and not done.unplaced else ATTENTION)


@commands.command()
@CONFIG
@click.option("--json", "as_json", is_flag=True, help="For a monitor.")
def status(config: Path, as_json: bool) -> None:
    """Say what came in, what waits, what was issued and mailed.

    And whether the service runs. Ends with 1 where a person is needed. Changes nothing.

    \b
    Example:  unrung status my-bar --json
    """
    from unrung.opening import look_at_venue
    from unrung.service.lock import is_held
    from unrung.status import Holder, collect
    from unrung.status_text import lines

    settings, db = look_at_venue(config, _now_ms())
    state = collect(db, settings, _now_ms(), Holder(*is_held(config)))
    db.close()
    click.echo(json.dumps(state, indent=2) if as_json else "\n".join(lines(state)))
    sys.exit(ATTENTION if state["attention"] else DONE)


@commands.command()
@click.option("--markdown", is_flag=True, help="As the page of the documents.")
def keys(markdown: bool) -> None:
    """Print every key of the config folder and its meaning.

    \b
    Example:  unrung keys
    """
    from unrung import config_reference, config_reference_text

    click.echo(config_reference.reference() if markdown else config_reference_text.reference_text())


@commands.command("mail-test")
@CONFIG
def mail_test(config: Path) -> None:
    """Send a short mail and say what the server answered.

    It goes to everybody under [mail] to.

    \b
    Example:  unrung mail-test my-bar
    """
    from unrung.config_folder import load
    from unrung.mail.trial import send_trial

    outcomes = send_trial(load(config), _now_ms(), os.environ)
    for recipient, outcome in outcomes.items():
        _say(f"{recipient}: {'accepted' if outcome.state == 'ok' else outcome.text}")
    if not outcomes:
        _say("No mail is set up: fill in host, sender and to under [mail] in venue.toml.")
    sys.exit(DONE if outcomes and all(one.state == "ok" for one in outcomes.values()) else ATTENTION)


def _alone(config: Path) -> None:
    """Take the lock of the config folder until the process ends; what it writes, its account reads."""
    from unrung.service.lock import one_instance

    os.umask(0o077)
    click.get_current_context().with_resource(one_instance(config))


for _command in (
    setup_command(_say), add_item_command(_say), restore_command(_say, _alone), export_command(_say),
    group_command(_say), service_command(click.echo),
):
    commands.add_command(_command)


def _open(config: Path, *, alone: bool = False) -> tuple[Settings, Store]:
    """Settings and store; ``alone``: with the lock of the config folder, until the process ends."""
    from unrung.opening import open_venue

    if alone:
        _alone(config)
    return open_venue(config, _now_ms())


def _let_settle(settings: Settings) -> None:
    """Give files that were written this moment their settling time before the one look."""
    from unrung.intake.scan import youngest_age_ms

    wait = max((feed.settle_seconds for feed in settings.feed if feed.folder), default=0.0)
    age = youngest_age_ms(settings, _now_ms())
    if age is not None and 0 <= age < wait * 1000:
        time.sleep(wait - age / 1000)


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _fail(message: str, code: int) -> NoReturn:
    _say(f"unrung: {message}", err=True)
    sys.exit(code)
