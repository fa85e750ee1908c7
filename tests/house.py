"""What the house-rule tests read: the tracked files, the modules and who imports whom."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = {ROOT / "daemon": "unrung", ROOT / "adapters": "unrung_adapters"}
"""Source root to the package in it."""


class Module(NamedTuple):
    """One Python file of the two packages."""

    name: str
    path: Path
    tree: ast.Module

    @property
    def part(self) -> str:
        """"unrung.ledger.day" → "ledger"; every adapter → "adapters"."""
        return part_of(self.name)

    @property
    def is_package(self) -> bool:
        return self.path.name == "__init__.py"


class Function(NamedTuple):
    """A function and where it stands."""

    where: str
    lines: int


@cache
def tracked_files() -> tuple[Path, ...]:
    """Every file that is in the project, or would be with the next commit."""
    if not (ROOT / ".git").exists():  # unpacked from an archive: nothing else says what is ours
        passing = {".venv", "__pycache__", "build", "node_modules", ".mypy_cache", ".ruff_cache",
                   ".hypothesis"}
        found = (path for path in sorted(ROOT.rglob("*")) if not passing & {*path.parts})
        return tuple(p for p in found if p.is_file() and ".egg-info" not in str(p))
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    paths = (ROOT / name for name in sorted(set(listed.split("\0"))) if name)
    return tuple(path for path in paths if path.is_file())


@cache
def module_paths() -> dict[str, Path]:
    """The modules of both packages by dotted name."""
    found = {}
    for root, package in PACKAGES.items():
        for path in tracked_files():
            if path.suffix == ".py" and path.is_relative_to(root / package):
                dotted = ".".join(path.relative_to(root).with_suffix("").parts)
                found[dotted.removesuffix(".__init__")] = path
    return found


@cache
def modules() -> dict[str, Module]:
    """The same, read."""
    return {name: Module(name, path, ast.parse(path.read_text(encoding="utf-8")))
            for name, path in module_paths().items()}


def part_of(name: str) -> str:
    """The part of the house that a dotted name belongs to; "" for the packages' own root."""
    first, _, rest = name.partition(".")
    return "adapters" if first == "unrung_adapters" else rest.partition(".")[0]


@cache
def nodes(module: Module) -> tuple[ast.AST, ...]:
    """Every node of a module's tree; walking is most of the work, and every rule walks."""
    return tuple(ast.walk(module.tree))


@cache
def imports(module: Module) -> frozenset[str]:
    """Dotted names that ``module`` imports anywhere in its text.

    Our own down to the module ("unrung.units"), others down to the name ("pathlib.PurePath").
    """
    return frozenset(name for node in nodes(module) for name in _imported(node, module))


def _imported(node: ast.AST, module: Module) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        up = node.level - (node.level > 0 and module.is_package)
        above = module.name.split(".")[: -up or None] if node.level else []
        base = ".".join([*above, *([node.module] if node.module else [])])
        for alias in node.names:
            deeper = f"{base}.{alias.name}"
            ours = base.partition(".")[0] in PACKAGES.values()
            yield base if ours and deeper not in modules() else deeper


def functions() -> Iterator[Function]:
    """Every function and method of both packages."""
    for module in modules().values():
        for node in nodes(module):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                yield Function(f"{place(module, node)} {node.name}", lines)


@cache
def calls(module: Module) -> tuple[tuple[str, ast.Call], ...]:
    """Every call with its dotted name as written: "self.session.get", "print"."""
    return tuple(
        (ast.unparse(node.func), node) for node in nodes(module)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute)
    )


def spoken_strings(module: Module) -> Iterator[tuple[int, str]]:
    """Strings that the program can put out: all but docstrings, with their lines."""
    silent = {
        id(node.value) for node in nodes(module)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in nodes(module):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.lineno, node.value


def shown(path: Path) -> str:
    """"daemon/unrung/x.py" for a message."""
    return path.relative_to(ROOT).as_posix()


def place(module: Module, node: ast.AST) -> str:
    """"daemon/unrung/x.py:12" for a message."""
    return f"{shown(module.path)}:{getattr(node, 'lineno', 0)}"


@cache
def text_of(path: Path) -> str:
    """The text of a tracked file; empty where it is not UTF-8 text."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def refuse(breaches: Iterable[str]) -> None:
    """Fail with every breach on a line of its own."""
    if found := sorted(breaches):
        pytest.fail("\n".join([f"{len(found)} found:", *found]), pytrace=False)
