"""The sample files as given on the command line, and where the feeds will find theirs."""

from __future__ import annotations

import glob
import os
import re
import shutil
from collections.abc import Iterable, Sequence
from itertools import takewhile
from pathlib import Path

from unrung.errors import ConfigError
from unrung.intake.archive import REASONS
from unrung.setup.draft import Sample

CONFIG_FILES = ("venue.toml", "products.csv", "menu.csv", "taps.csv")
_MOST_BYTES = 64 * 1024 * 1024


def samples_of(given: Iterable[str]) -> list[Sample]:
    """The files that ``given`` names: files, folders (all files in them), patterns with ``*``.

    A pattern is looked up here because not every command line does it. Raises ConfigError naming
    what is not there.
    """
    paths: list[Path] = []
    lacking: list[str] = []
    for text in given:
        found = _expanded(text)
        paths += found
        if not found:
            lacking.append(f"{text}: no such file; name an export, a folder of exports, or a pattern")
    lacking += [
        f"{path} is too big to look at; give one day" for path in paths if path.stat().st_size > _MOST_BYTES
    ]
    if lacking:
        raise ConfigError(lacking)
    samples = []
    for path in dict.fromkeys(path.resolve() for path in paths):
        samples.append(Sample(path.name, path.read_bytes(), path.stat().st_mtime_ns // 1_000_000, str(path)))
    return samples


def _expanded(text: str) -> list[Path]:
    path = Path(text)
    if path.is_dir():
        return sorted(
            one for one in path.iterdir()
            if one.is_file() and not one.name.startswith(".") and not one.name.endswith(REASONS)
        )
    if path.is_file():
        return [path]
    return sorted(Path(one) for one in glob.glob(text) if Path(one).is_file())


def pattern_of(names: Sequence[str]) -> str:
    """A pattern for the names of exports still to come: what stands before the first figure or
    difference, and the ending.

    >>> pattern_of(["till_2026-10-27.csv"]), pattern_of(["Export (3).CSV", "Export.CSV"])
    ('till_*.csv', 'Export*.CSV')
    >>> pattern_of(["a.json", "b.json"]), pattern_of(["sales.csv"])
    ('*.json', '*.csv')
    """
    first, last = min(names), max(names)
    alike = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(first, last, strict=False)))
    front = first[:alike]
    front = re.split(r"[\d(\[]", front)[0].rstrip(" ")
    ending = {Path(name).suffix for name in names}
    suffix = ending.pop() if len(ending) == 1 else ""
    if suffix and front.endswith(suffix):
        front = "" if len(names) == 1 else front.removesuffix(suffix)
    return f"{front}*{suffix}".replace("**", "*")


def refuse_overwriting(folder: Path) -> None:
    """Raises ConfigError where the folder holds a config already."""
    there = [name for name in CONFIG_FILES if (folder / name).exists()]
    if there:
        raise ConfigError([
            f"{folder / name} is there already; name another folder, or add --force to write over it"
            for name in there
        ])


def copy_samples(samples: Iterable[Sample], folder: Path) -> int:
    """Copies of the samples, with their times, for the first catch-up; never over another file."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    for sample in samples:
        target = folder / sample.name
        if target.exists() and target.read_bytes() != sample.content:
            target = folder / f"{target.stem} ({Path(sample.path).parent.name}){target.suffix}"
        if not target.exists():
            shutil.copy2(sample.path, target)
            count += 1
    return count


def put(folder: Path, texts: dict[str, str]) -> None:
    """The files of the config folder, each written aside and renamed."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        aside = folder / f".{name}.new"
        aside.write_bytes(text.encode("utf-8"))
        os.replace(aside, folder / name)
