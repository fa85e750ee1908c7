"""The two commands of the README, tried on a checkout so small that it needs no network."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
import time
from pathlib import Path

import pytest

import checkout_venv
import watched_run
from checkout_venv import Stamp, next_step, read_stamp, ready, venv_python, works
from watched_run import CannotStart, passed_on, short_form, watched

ROOT = Path(__file__).resolve().parent.parent
MAINS = (ROOT / "daemon" / "__main__.py", ROOT / "tests" / "__main__.py")

TINY_PYPROJECT = """
[build-system]
requires = []
build-backend = "tiny"
backend-path = ["."]
"""
TINY_BACKEND = '''
import zipfile
INFO = "unrung-0.dist-info/"
def build_editable(folder, config_settings=None, metadata_directory=None):
    name = "unrung-0-py3-none-any.whl"
    with zipfile.ZipFile(f"{folder}/{name}", "w") as wheel:
        wheel.writestr("unrung/__init__.py", "")
        wheel.writestr("unrung/__main__.py", "import sys; print(sys.argv[1:]); sys.exit(7)")
        wheel.writestr(INFO + "METADATA",
            "Metadata-Version: 2.1\\nName: unrung\\nVersion: 0\\nProvides-Extra: test\\n")
        wheel.writestr(INFO + "WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr(INFO + "RECORD", "")
    return name
'''


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A checkout in a folder with blanks: the real commands, a project without libraries."""
    root = tmp_path_factory.mktemp("a folder") / "with blanks"
    (root / "daemon").mkdir(parents=True)
    for name in ("__main__.py", "checkout_venv.py", "watched_run.py"):
        (root / "daemon" / name).write_bytes((ROOT / "daemon" / name).read_bytes())
    (root / "pyproject.toml").write_text(TINY_PYPROJECT)
    (root / "tiny.py").write_text(TINY_BACKEND)
    return root


def demo(root: Path, *args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(root / "daemon"), *args], cwd=root.parent, capture_output=True, text=True
    )


def test_the_demo_runs_from_a_folder_with_blanks_and_passes_arguments_and_exit_code(
    tiny: Path,
) -> None:
    first = demo(tiny, "--into", "my demo")
    assert first.stdout.startswith(f"Making {tiny / '.venv'}"), first.stderr
    assert first.stdout.endswith("['demo', '--into', 'my demo']\n")
    assert first.returncode == 7


def test_a_second_run_makes_and_installs_nothing(tiny: Path) -> None:
    ready(tiny, ())
    began = time.monotonic()
    again = demo(tiny)
    assert (again.stdout, again.returncode) == ("['demo']\n", 7)
    assert time.monotonic() - began < 5


def test_extras_come_on_top_and_a_changed_pyproject_installs_again(
    tiny: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ready(tiny, ("test",))
    (tiny / "pyproject.toml").write_text(TINY_PYPROJECT + "# changed\n")
    ready(tiny, ())
    assert "Installing Unrung and its libraries for test" in capsys.readouterr().out
    stamp = read_stamp(tiny / ".venv")
    assert stamp is not None and stamp.extras == ("test",)


def test_a_half_made_environment_is_made_anew(
    tiny: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    venv = ready(tiny, ()).parent.parent
    (venv / "unrung-stamp.json").write_text("unfinished")
    (venv / "left over").touch()
    capsys.readouterr()
    ready(tiny, ())
    assert capsys.readouterr().out.startswith("Making ")
    assert not (venv / "left over").exists()
    assert demo(tiny).returncode == 7


@pytest.mark.parametrize("part", [venv_python(Path()).parent.name, "pip", "unrung"])
def test_an_environment_with_a_part_missing_does_not_work(tiny: Path, part: str) -> None:
    venv = ready(tiny, ()).parent.parent
    assert works(venv, installed=True)
    lost = next(path for path in venv.rglob(part) if path.is_dir())
    lost.rename(venv / "away")
    assert not works(venv, installed=True)
    (venv / "away").rename(lost)


MADE = Stamp("3.11.2", "/a", "hash", ("test",))


@pytest.mark.parametrize(
    ("have", "wanted", "working", "step"),
    [
        (MADE, MADE, True, "none"),
        (MADE, MADE._replace(extras=()), True, "none"),
        (MADE, MADE._replace(extras=("test", "more")), True, "install"),
        (MADE, MADE._replace(pyproject="other"), True, "install"),
        (None, MADE, True, "install"),
        (MADE, MADE._replace(python="3.12.1"), True, "make"),
        (MADE, MADE._replace(root="/moved"), True, "make"),
        (MADE, MADE, False, "make"),
        (None, MADE, False, "make"),
    ],
)
def test_only_what_is_needed_is_done(
    have: Stamp | None, wanted: Stamp, working: bool, step: str
) -> None:
    assert next_step(have, wanted, working) == step


@pytest.mark.parametrize("lacking", ["venv", "ensurepip"])
def test_a_python_without_venv_is_told_which_package_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lacking: str
) -> None:
    (tmp_path / "pyproject.toml").touch()
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == lacking else found(name))
    with pytest.raises(CannotStart, match=rf"without {lacking};.*(?s:.)*apt install python3-venv"):
        ready(tmp_path, ())
    assert not (tmp_path / ".venv").exists()


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotStart, match=r"no such folder.*\.venv cannot be made: .*\n.*may write"):
        checkout_venv._make(tmp_path / "no such folder" / ".venv")


def test_what_cannot_start_ends_with_code_3_and_no_traceback(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def command(args: object) -> int:
        raise CannotStart("a sentence")

    assert checkout_venv.main(command, []) == 3
    assert capsys.readouterr().err == "a sentence\n"


@pytest.mark.parametrize("path", MAINS, ids=lambda path: path.parent.name)
def test_an_older_python_gets_a_sentence_and_code_3(path: Path) -> None:
    ast.parse(path.read_text(encoding="ascii"), feature_version=(3, 7))
    older = "import runpy, sys; sys.version_info = (3, 9, 2, 'final', 0); runpy.run_path(sys.argv[1])"
    done = subprocess.run([sys.executable, "-c", older, str(path)], capture_output=True, text=True)
    assert done.returncode == 3
    assert done.stderr.startswith("Unrung needs Python 3.11 or newer; this is Python ")
    assert done.stderr.endswith(f"python3.11 {path.parent.name}\n")


def test_a_failing_installation_shows_the_errors_and_what_to_try() -> None:
    script = "print('Collecting x'); print('ERROR: No matching distribution'); raise SystemExit(1)"
    with pytest.raises(CannotStart) as caught:
        watched([sys.executable, "-c", script], "installing")
    assert str(caught.value).startswith("It failed while installing:\n    ERROR: No matching")
    assert "Collecting" not in str(caught.value)


def test_a_long_silence_is_broken(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(watched_run, "SILENCE_SECONDS", 0.5)
    watched([sys.executable, "-c", "import time; time.sleep(2.2)"], "installing")
    assert "  still installing (1 s)\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("line", "short"),
    [
        ("  Downloading numpy-2.4.6-cp311-cp311-win_amd64.whl (16.9 MB)", "numpy 2.4.6 (16.9 MB)"),
        ("  Downloading numpy-2.4.6-cp311-cp311-win_amd64.whl.metadata (6 kB)", ""),
        ("Collecting numpy>=2.0 (from unrung==0.1.0)", ""),
        ("    WARNING: Retrying (Retry(total=4)) after connection", "no connection, trying again"),
        ("ERROR: No matching distribution", "ERROR: No matching distribution"),
    ],
)
def test_of_what_pip_says_a_person_sees_what_matters(line: str, short: str) -> None:
    assert short_form(line) == short


def test_the_interpreters_of_the_tests_compile_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "library.py").touch()
    monkeypatch.delenv("PYTHONPYCACHEPREFIX", raising=False)
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    assert passed_on([sys.executable, "-c", "import library"], tmp_path)[0] == 0
    assert not (tmp_path / "__pycache__").exists()
    checkout_venv.keep_compiled()
    assert passed_on([sys.executable, "-c", "import library"], tmp_path)[0] == 0
    assert (tmp_path / "__pycache__").exists()


def test_the_closing_line_of_the_tests_is_kept(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    script = "print('dots ...'); print('2 failed, 3 passed in 0.10s'); raise SystemExit(1)"
    assert passed_on([sys.executable, "-c", script], tmp_path) == (1, "2 failed, 3 passed in 0.10s")
    assert capfdbinary.readouterr().out.startswith(b"dots ...")
