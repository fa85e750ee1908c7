"""The catalogue of faults (``faults.toml``): each has a test that is there, or a reason why none is."""

from __future__ import annotations

import ast
import tomllib
from functools import cache
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FAULTS = tomllib.loads((HERE / "faults.toml").read_text("utf-8"))["fault"]


@cache
def functions_in(path: str) -> frozenset[str]:
    """The test functions of a file, as its text has them."""
    tree = ast.parse((HERE / path).read_text("utf-8"))
    return frozenset(node.name for node in tree.body if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault["what"])
def test_a_fault_has_a_test_that_is_there_or_a_reason(fault: dict[str, str]) -> None:
    assert set(fault) in ({"what", "test"}, {"what", "why"})
    if "why" in fault:
        assert len(fault["why"]) > 40
        return
    path, name = fault["test"].split("::")
    assert name.startswith("test_") and name in functions_in(path)


def test_no_fault_stands_twice_and_nearly_all_have_a_test() -> None:
    told = [fault["what"] for fault in FAULTS]
    assert len(set(told)) == len(told) >= 150
    assert sum("why" in fault for fault in FAULTS) <= 8
