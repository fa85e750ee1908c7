"""What ``unrung service`` prints. The unit is read by systemd's own checker where there is one."""

from __future__ import annotations

import configparser
import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from unrung.cli import commands
from unrung.install.systemd import systemd_unit, unit_name
from unrung.install.windows_task import windows_steps, windows_task
from venue_folder import make_venue

on_posix = pytest.mark.skipif(os.name == "nt", reason="paths of systemd's machines")
NS = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"
ORDER = (  # of the settings in the task schema, MS-TSCH 2.5 (from memory)
    "MultipleInstancesPolicy", "DisallowStartIfOnBatteries", "StopIfGoingOnBatteries",
    "AllowHardTerminate", "StartWhenAvailable", "RunOnlyIfNetworkAvailable", "AllowStartOnDemand",
    "Enabled", "Hidden", "RunOnlyIfIdle", "WakeToRun", "ExecutionTimeLimit", "Priority",
    "RestartOnFailure",
)


def parsed(text: str) -> configparser.RawConfigParser:
    unit = configparser.RawConfigParser(strict=False)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read_string(text)
    return unit


def test_the_unit_does_not_restart_on_settings_that_cannot_be_used() -> None:
    service = parsed(systemd_unit(Path("/srv/bar"), Path(sys.executable), "A Bar"))["Service"]
    assert service["RestartPreventExitStatus"] == "2 4"
    assert (service["Type"], service["Restart"], service["UMask"]) == ("notify", "on-failure", "0077")
    assert int(service["WatchdogSec"]) > 60
    assert "LoadCredential" not in service


@on_posix
def test_paths_with_blanks_and_percent_signs_survive_the_unit() -> None:
    text = systemd_unit(Path("/srv/my 100% bar"), Path("/opt/py"), "x", password_file="secret")
    service = parsed(text)["Service"]
    assert service["ExecStart"] == '/opt/py -m unrung run "/srv/my 100%% bar"'
    assert service["LoadCredential"] == "mail-password:/etc/unrung-mail-password"
    assert "#      chown -R unrung '/srv/my 100% bar'\n" in text and "mkdir" not in text
    assert unit_name("The Bar & Grill\n") == "unrung-the-bar-grill.service"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here to read the unit")
def test_systemd_itself_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    unit = tmp_path / "unrung-bar.service"
    unit.write_text(systemd_unit(tmp_path, Path(sys.executable), "Bar", user="root"))
    done = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True)
    assert "unrung-bar.service:" not in done.stderr, done.stderr


def test_the_task_has_no_time_limit_runs_on_battery_and_starts_again() -> None:
    task = ElementTree.fromstring(windows_task(r"C:\My Bar", r"C:\py\python.exe", "A <Bar>").encode("utf-16"))
    settings = task.find(f"{NS}Settings")
    assert settings is not None
    found = {child.tag.removeprefix(NS): child.text for child in settings}
    assert tuple(found) == ORDER
    assert found["ExecutionTimeLimit"] == "PT0S"
    assert found["DisallowStartIfOnBatteries"] == found["StopIfGoingOnBatteries"] == "false"
    assert task.findtext(f".//{NS}Arguments") == r'-m unrung run "C:\My Bar"'
    assert "schtasks /create" in windows_steps(r"C:\My Bar", r"C:\py\python.exe")


def test_letters_beyond_ascii_survive_whatever_the_task_is_written_into() -> None:
    made = windows_task(r"C:\Piwnica pod Żółwiem", r"C:\py\python.exe", "Żółw")
    task = ElementTree.fromstring(made.encode("ascii").replace(b"UTF-16", b"us-ascii"))
    assert task.findtext(f".//{NS}WorkingDirectory") == r"C:\Piwnica pod Żółwiem"


@on_posix
def test_every_folder_outside_of_the_config_is_one_the_unit_may_write_to(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", more='[files]\nfolder = "/srv/draught"\narchive = "/srv/archive"')
    done = CliRunner().invoke(commands, ["service", str(venue.path), "--for", "systemd"])
    service = parsed(done.output)["Service"]
    assert service["ReadWritePaths"].split() == [
        str(venue.path.resolve()), "/srv/archive", "/srv/draught"]
    # systemd starts nothing that may write to a folder that is not there
    assert "#      mkdir -p /srv/archive /srv/draught\n" in done.output
