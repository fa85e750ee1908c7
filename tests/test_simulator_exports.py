"""A simulated month written as exports is read back by the project's own readers, row for row."""

from __future__ import annotations

import importlib
from datetime import date
from pathlib import Path

import pytest

from simulator import SimMonth, simulate, write_exports
from unrung.config_folder import load
from unrung.mapping import Mapping
from unrung.records import Export
from unrung_adapters import ADAPTERS


@pytest.fixture(scope="module")
def lossy() -> SimMonth:
    """With the night of 31 October 2026, in which New York has an hour twice (IANA tzdb)."""
    return simulate(12, days=4, start=date(2026, 10, 30), losses="all")


@pytest.mark.parametrize(("meters", "pulses"), [("csv", False), ("json", True)])
def test_exports_are_read_back_whole_by_the_projects_own_readers(
    tmp_path: Path, lossy: SimMonth, meters: str, pulses: bool
) -> None:
    settings = load(write_exports(lossy, tmp_path, meters=meters, pulses=pulses))  # type: ignore[arg-type]
    read: dict[str, dict[str, object]] = {}
    for feed in settings.feed:
        module, name = ADAPTERS[feed.adapter].split(":")
        mapping = Mapping(
            feed=feed.name, carries=feed.carries, fields=feed.fields, formats=feed.formats,
            zone=settings.venue.timezone,
        )
        for path in sorted((tmp_path / feed.folder).glob(feed.pattern)):
            written = round(path.stat().st_mtime * 1000)
            rows = getattr(importlib.import_module(module), name)(
                Export(path.name, path.read_bytes(), written), mapping
            )
            read.setdefault(feed.name, {}).update({row.ref: row for row in rows})
    _same_rings(read["till"], lossy)
    _same_pours(read["meters"], lossy, pulses)
    assert len(read["kegs"]) == len(lossy.kegs) and len(read["log"]) == len(lossy.log)


def _same_rings(read: dict[str, object], month: SimMonth) -> None:
    """Also through the hour that the autumn night has twice."""
    told = {
        str(r.id): (r.at_ms, r.item, r.size, r.units_micro, r.kind, r.voided_ms, r.amount_minor)
        for r in month.rings
    }
    assert {
        ref: (r.at_ms, r.item, r.size, r.units_micro, r.kind, r.voided_ms, r.amount_minor)  # type: ignore[attr-defined]
        for ref, r in read.items()
    } == told


def _same_pours(read: dict[str, object], month: SimMonth, pulses: bool) -> None:
    told = {
        str(p.id): (p.tap, p.start_ms, p.end_ms, p.pulses if pulses else p.volume_ul)
        for p in month.pours
    }
    assert {
        ref: (p.tap, p.start_ms, p.end_ms, p.pulses if pulses else p.volume_ul)  # type: ignore[attr-defined]
        for ref, p in read.items()
    } == told
