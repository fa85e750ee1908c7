"""A till that tells how many of an item were sold in each hour: setup sees it, and totals are compared."""

from __future__ import annotations

import csv
import io
import shutil
from collections import Counter
from datetime import date, time, timedelta
from pathlib import Path

import pytest

from unrung.config_folder import load

from .dialects import put
from .helping import computed, set_up
from .more_dialects import lines_of, write_texan
from .quiet_bar import QuietBar, local
from .test_more_dialects import texan


def mix(bar: QuietBar, day: date, minutes: int, *, ends: bool) -> bytes:
    """The day's items by span, with what was taken for them; ``ends``: a span is called by its end."""
    sold: dict[tuple[str, str], list[int]] = {}
    for line in lines_of(bar, day):
        at = line.at.replace(minute=line.at.minute // minutes * minutes, second=0)
        at += timedelta(minutes=minutes) if ends else timedelta()
        one = sold.setdefault((f"{at:%F %H:%M}", f"{line.name} {line.size}".strip()), [0, 0])
        one[0] += line.count
        one[1] += line.minor
    file = io.StringIO()
    csv.writer(file).writerows([
        ("Hour", "Item", "Qty Sold", "Net Sales"),
        *((at, item, count, f"{minor / 100:.2f}") for (at, item), (count, minor) in sorted(sold.items())
          if count),
    ])
    return file.getvalue().encode()


@pytest.mark.parametrize(("minutes", "ends"), [(60, False), (60, True), (30, False)])
def test_sums_tell_taps_and_portions_and_totals_hold(tmp_path: Path, minutes: int, ends: bool) -> None:
    bar = texan().bar
    write_texan(bar, tmp_path / "in")
    shutil.rmtree(tmp_path / "in" / "till")
    for day in bar.days:
        put(tmp_path / "in" / "till", f"mix_{day}.csv", mix(bar, day, minutes, ends=ends), day, bar.zone)
    said = set_up(
        tmp_path / "bar", machine=bar.zone, rings=tmp_path / "in" / "till", pours=tmp_path / "in" / "meters")
    settings = load(tmp_path / "bar")
    assert {row.product for row in settings.taps} == {sale.beer.product for sale in bar.sales}
    assert {(row.product, row.portion_ul) for row in settings.menu if row.product} == {
        (sale.beer.product, sale.portion_ul) for sale in bar.sales}, "\n".join(said)
    assert settings.matching.window_before_minutes == minutes + 20
    opens, closes = settings.venue.opens, settings.venue.closes
    assert opens is not None and opens <= min(poured_at(bar)), opens
    assert closes is not None and (closes < opens or closes >= max(poured_at(bar))), closes
    found, true = Counter[str](), Counter[str]()
    for row in computed(tmp_path / "bar", bar.days).values():
        found.update(row)
    for row in bar.truth().values():
        true.update(row)
    metered = sum(sale.metered_ul for sale in bar.sales)
    # A pour without a ring and a ring without a pour within the hour are not told apart: their difference is.
    assert abs(net(found) - net(true)) <= 0.005 * metered, (found, true)
    assert found["poured_not_rung"] <= true["poured_not_rung"] + 0.005 * metered, (found, true)


def poured_at(bar: QuietBar) -> list[time]:
    """When glasses were poured, by the clock on the wall."""
    return [local(sale.end_ms, bar.zone).time() for sale in bar.sales if sale.end_ms]


def net(row: Counter[str]) -> int:
    poured, rung = ([f"{one}_not_{other}", f"{one}_not_compared"]
                    for one, other in (("poured", "rung"), ("rung", "poured")))
    return sum(row[name] for name in poured) - sum(row[name] for name in rung)
