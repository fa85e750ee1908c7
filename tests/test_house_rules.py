"""The rules of the house, checked on the text of the code itself.

A rule that only stands in a document is broken within a month; each one here names its breaches.
"""

from __future__ import annotations

import ast
import re
from graphlib import CycleError, TopologicalSorter

import pytest

from house import (
    PACKAGES,
    ROOT,
    Module,
    calls,
    functions,
    imports,
    modules,
    nodes,
    part_of,
    place,
    refuse,
    shown,
    spoken_strings,
    text_of,
    tracked_files,
)

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", ".ci",
    "daemon", "adapters", "config", "sample_exports", "tests",
}  # fmt: skip

BASE = {
    "by_locale", "by_unit", "errors", "records", "mapping", "units", "business_day", "periods",
    "finding_names",
}  # fmt: skip
CALCULATED = {
    *BASE, "settings", "venue_time", "book_settings", "file_settings", "matching", "ledger", "findings",
}  # fmt: skip
MAY_IMPORT = {
    "errors": set(),
    "records": set(),
    "by_locale": set(),
    "by_unit": set(),
    "finding_names": set(),
    "mapping": set(),
    "business_day": set(),
    "periods": {"errors"},
    "units": {"errors"},
    "poll_settings": set(),
    "book_settings": {"periods"},
    "file_settings": set(),
    "mail_address": set(),
    "closed_days": set(),
    "settings": {"mapping", "poll_settings", "book_settings", "file_settings", "mail_address", "closed_days"},
    "venue_time": {"by_locale", "settings"},
    "config_lines": set(),
    "config_cells": {"errors"},
    "config_words": {"config_lines"},
    "config_history": {"settings"},
    "config_tables": {*BASE, "settings", "config_words", "config_cells"},
    "config_checks": {*BASE, "settings", "poll_settings", "config_words", "config_tables", "intake"},
    "config_folder": {*BASE, "settings", "config_lines", "config_words", "config_tables", "config_checks"},
    "adapters": {"records", "mapping", "units", "errors"},
    "matching": {*BASE, "settings"},
    "ledger": {*BASE, "settings", "venue_time", "matching"},
    "findings": {*BASE, "settings", "venue_time", "matching", "ledger"},
    "alerts": CALCULATED,
    "issue": {*CALCULATED, "alerts"},
    "templates": set(),
    "mail": {*CALCULATED, "alerts", "issue", "templates"},
    "page": {*CALCULATED, "alerts", "issue", "templates"},
    "store": {*CALCULATED, "alerts", "config_history"},
    "metering": {*CALCULATED, "store"},
    "covering": {*CALCULATED, "store"},
    "daybook": {*CALCULATED, "closed_days", "store", "metering", "covering"},
    "parquet": {*CALCULATED, "poll_settings", "alerts", "issue", "store", "opening", "covering"},
    "group": {*CALCULATED, "alerts", "issue", "store", "daybook", "parquet"},
    "secret_file": {"errors"},
    "intake": {*BASE, "settings", "venue_time", "poll_settings", "secret_file", "store"},
}
"""Part to the parts that it may import. A module directly in ``unrung`` that is not listed conducts
the others: it may import any part, and no listed part may import it."""

OWNERS = {
    "sqlite_utils": "store", "sqlite3": "store", "numpy": "matching", "scipy": "matching",
    "pyarrow": "parquet", "dask": "group", "distributed": "group",
}  # fmt: skip
"""Library to the only part that may import it."""

PURE = {*CALCULATED, "alerts", "adapters", "config_history"}
OUTSIDE_WORLD = {
    "os", "pathlib", "shutil", "socket", "ssl", "requests", "urllib", "smtplib", "subprocess",
    "threading", "time", "random", "tempfile", "logging", "click",
}  # fmt: skip
DATE_PATTERN = re.compile(r"%[aAbBdHIjmMpSyY]")
CLOCKS = re.compile(r"(^|\.)(datetime\.(now|utcnow|today)|date\.today)$")


def test_only_the_agreed_names_stand_at_the_top() -> None:
    names = {path.relative_to(ROOT).parts[0] for path in tracked_files()}
    refuse(names - TOP_LEVEL)


def test_the_source_roots_are_no_packages_themselves() -> None:
    """With an ``__init__.py`` there, ``daemon`` would hide the library of that name."""
    refuse(root for root in ("daemon", "adapters") if (ROOT / root / "__init__.py").exists())


def test_both_packages_are_seen() -> None:
    assert {name.partition(".")[0] for name in modules()} == set(PACKAGES.values())
    assert set(MAY_IMPORT) <= {module.part for module in modules().values()}


def test_imports_point_one_way() -> None:
    breaches = [
        f"{module.name} imports {name}"
        for module in modules().values() if module.part in MAY_IMPORT
        for name in imports(module) if name.partition(".")[0] in PACKAGES.values()
        and part_of(name) not in {"", module.part, *MAY_IMPORT[module.part]}
    ]  # fmt: skip
    refuse(breaches)


@pytest.mark.parametrize(("target", "importer"), [("cli", "__main__"), ("service", "cli")])
def test_what_starts_the_program_is_imported_by_nothing_else(target: str, importer: str) -> None:
    refuse(
        f"{module.name} imports {name}"
        for module in modules().values() if module.part not in {target, importer}
        for name in imports(module) if part_of(name) == target and name.startswith("unrung.")
    )  # fmt: skip


def test_the_core_knows_the_table_of_adapters_and_no_adapter() -> None:
    breaches = [
        f"{module.name} imports {name}"
        for module in modules().values() if module.part != "adapters"
        for name in imports(module) if name.startswith("unrung_adapters.")
    ]  # fmt: skip
    refuse(breaches)


def test_modules_do_not_import_in_circles() -> None:
    graph = {name: imports(module) & modules().keys() for name, module in modules().items()}
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))


@pytest.mark.parametrize("library", sorted(OWNERS))
def test_a_library_has_one_part_that_imports_it(library: str) -> None:
    breaches = [
        module.name for module in modules().values() if module.part != OWNERS[library]
        and library in {name.partition(".")[0] for name in imports(module)}
    ]  # fmt: skip
    refuse(breaches)


def test_days_and_times_are_written_for_people_in_one_place() -> None:
    """``by_locale``: no other part asks babel for dates or writes a moment by a pattern of its own."""
    others = [module for module in modules().values() if module.part != "by_locale"]
    breaches = [f"{module.name} imports {name}" for module in others for name in imports(module)
                if name.startswith("babel.dates")]
    breaches += [f"{place(module, node)} writes {ast.unparse(node)}" for module in others
                 for node in nodes(module) if isinstance(node, ast.FormattedValue)
                 and node.format_spec and DATE_PATTERN.search(ast.unparse(node.format_spec))]
    refuse(breaches)


def test_calculation_has_no_disk_no_network_and_no_clock() -> None:
    pure = [module for module in modules().values() if module.part in PURE]
    breaches = [
        f"{module.name} imports {name}"
        for module in pure for name in imports(module) if name.partition(".")[0] in OUTSIDE_WORLD
        and not name.startswith("pathlib.Pure")
    ]  # fmt: skip
    breaches += [
        f"{place(module, node)} calls {name}"
        for module in pure for name, node in calls(module) if name == "open" or CLOCKS.search(name)
    ]  # fmt: skip
    refuse(breaches)


def test_a_module_has_at_most_300_lines() -> None:
    lengths = {m.name: m.path.read_text(encoding="utf-8").count("\n") for m in modules().values()}
    refuse(f"{name}: {lines}" for name, lines in lengths.items() if lines > 300)


def test_a_function_has_at_most_60_lines() -> None:
    refuse(f"{found.where}: {found.lines}" for found in functions() if found.lines > 60)


def test_no_module_is_a_drawer_for_everything() -> None:
    drawers = {"util", "utils", "helpers", "common", "misc", "tools"}
    refuse(name for name in modules() if name.rpartition(".")[2] in drawers)


def test_every_module_says_what_it_is() -> None:
    refuse(module.name for module in modules().values() if not ast.get_docstring(module.tree))


def test_only_the_command_line_prints() -> None:
    printing = re.compile(r"^(print|click\.(echo|secho|print.*)|sys\.std(out|err)\.write)$")
    breaches = [
        f"{place(module, node)} calls {name}"
        for module in modules().values() if module.name != "unrung.cli"
        for name, node in calls(module) if printing.match(name)
    ]  # fmt: skip
    refuse(breaches)


def test_rows_are_written_through_the_library_or_by_executemany_in_the_store() -> None:
    """One raw write opens the driver's own transaction, and what follows is lost on closing."""
    breaches = [
        f"{place(module, node)} calls {name}"
        for module in modules().values() for name, node in calls(module)
        if re.search(r"\bconn\.execute(many|script)?$", name) and not _allowed_on_conn(module, name, node)
    ]  # fmt: skip
    refuse(breaches)


def _allowed_on_conn(module: Module, name: str, call: ast.Call) -> bool:
    if module.part != "store" or not call.args:
        return False
    words = re.sub(r"^f?['\"]+", "", ast.unparse(call.args[0])).split(maxsplit=1)
    return name.endswith("many") or words[0].upper() in {"SELECT", "PRAGMA"}


def test_nothing_waits_for_a_network_without_a_limit() -> None:
    """Neither library has one by default: a server that never answers would hold the thread."""
    waits = re.compile(
        r"(^|\.)(requests|\w*session)\.(get|post|put|patch|delete|head|request|send)$"
        r"|(^|\.)(SMTP|SMTP_SSL|urlopen|create_connection)$"
    )
    breaches = [
        f"{place(module, node)} calls {name}"
        for module in modules().values() for name, node in calls(module)
        if waits.search(name) and not {"timeout", None} & {word.arg for word in node.keywords}
    ]  # fmt: skip
    refuse(breaches)


def test_no_word_that_accuses_is_ever_put_out() -> None:
    accuses = re.compile(r"\b(theft|thief|thieves|steal\w*|stole\w*|pilfer\w*|culprit\w*)\b", re.I)
    said = [
        (f"{shown(module.path)}:{line}", text)
        for module in modules().values() for line, text in spoken_strings(module)
    ]  # fmt: skip
    put_out = {".j2", ".html", ".csv", ".toml", ".json"}
    said += [
        (shown(path), text_of(path))
        for path in tracked_files() if path.suffix in put_out and ROOT / "tests" not in path.parents
    ]  # fmt: skip
    refuse(where for where, text in said if accuses.search(text))


FOREIGN = {
    "a path of somebody's machine": r"(?<![\w./])/(?:work|farm)/|/opt/[u]v\b|/tmp/b(?:rief|ash_)",
    "the host of a package registry": r"pypi\.org|python[h]osted|npmjs\.|registry\.npm|debian\.org",
    "a merge left half done": r"^(?:<{7}|>{7}) ",
}


@pytest.mark.parametrize("what", FOREIGN)
def test_no_file_carries(what: str) -> None:
    foreign = re.compile(FOREIGN[what], re.M)
    refuse(shown(path) for path in tracked_files() if foreign.search(text_of(path)))


def test_every_document_that_is_named_is_there() -> None:
    named = {
        (name, path)
        for path in tracked_files() for name in re.findall(r"\b[A-Z][A-Z_]+\.md\b", text_of(path))
    }  # fmt: skip
    refuse(
        f"{shown(path)} names {name}" for name, path in named
        if not (ROOT / name).is_file() and not path.with_name(name).is_file()
    )


def test_no_tracked_file_is_big() -> None:
    refuse(shown(path) for path in tracked_files() if path.stat().st_size > 2**20)


def test_the_checks_find_what_they_look_for() -> None:
    """Each pattern and reader on a small text that breaks the rule, so that none passes idly."""
    text = (
        '"""Doc."""\nfrom unrung.store import open\nimport sqlite_utils as s\n'
        "from pathlib import PurePath\n"
        "session.get(url)\nself.conn.execute('INSERT INTO x')\nprint('theft')\n"
    )
    bad = Module("unrung.mail.bad", ROOT / "daemon/unrung/mail/bad.py", ast.parse(text))
    assert imports(bad) == {"unrung.store.open", "sqlite_utils", "pathlib.PurePath"}
    found = dict(calls(bad))
    assert set(found) == {"session.get", "self.conn.execute", "print"}
    assert not _allowed_on_conn(bad, "self.conn.execute", found["self.conn.execute"])
    assert {said for _, said in spoken_strings(bad)} == {"INSERT INTO x", "theft"}
    samples = ("/".join(("see ", "work", "x")), "https://py" "pi.org/x", "<" * 7 + " HEAD")
    for pattern, sample in zip(FOREIGN.values(), samples, strict=True):
        assert re.search(pattern, sample, re.M)


def test_guesses_stay_in_setup() -> None:
    """At run time everything is declared: no other part asks for an encoding or a meaning."""
    guessing = {
        module.name for module in modules().values() for name in imports(module)
        if name.startswith("charset_normalizer")
    }
    assert guessing == {"unrung.setup.encodings"}
    users = {
        module.name for module in modules().values() if module.part != "setup"
        for name in imports(module) if name.startswith("unrung.setup.")
    }
    assert users <= {"unrung.cli", "unrung.menu_evidence", "unrung.menu_rows", "unrung.new_beers"}
