"""What setup says on the screen: each feed's first rows as it understands them, and the tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

from unrung.business_day import local_iso
from unrung.intake.archive import said
from unrung.records import AnyRecord, KegEvent, LogEntry, Pour, Ring
from unrung.setup.draft import Draft
from unrung.setup.proposal import Tables
from unrung.setup.records import Read
from unrung.units import UNIT_LABELS, from_ul

Say = Callable[[str], None]
ROWS = 5


def show_feed(draft: Draft, read: Read, records: Sequence[AnyRecord], zone: str, say: Say) -> None:
    """Five rows as understood, and what could not be read."""
    files = f"{len(draft.samples)} file" + "s" * (len(draft.samples) != 1)
    say("")
    say(f"{draft.name} ({draft.carries}): {files}, {len(records):,} rows; {draft.export}")
    shown = [record for record in records if not isinstance(record, Ring) or record.kind == "sale"]
    unit = draft.formats.get("volume_unit") or "ml"
    for record in shown[:ROWS]:
        say(f"  {_row(record, zone, unit)}"[:110])
    if read.rejects:
        name, first = read.rejects[0]
        say(f"  {len(read.rejects)} rows cannot be read; the first: {name}, line {first.line}, "
            f"field {first.field!r}: {said(first)}")
    for problem in read.problems:
        say(f"  ! {problem}")


def show_tables(tables: Tables, say: Say) -> None:
    """Taps with their beers, items with their portions, and what is worth a look."""
    say("")
    say("Taps and what they pour:")
    for tap in tables.taps:
        say(f"  {tap.tap:<8} {tap.outlet:<16.16} {tap.product}" + ("" if tap.metered else "  (no meter)"))
    say("")
    say("Items and what one takes:")
    for row in tables.menu:
        unit = UNIT_LABELS.get(row.unit, row.unit)
        what = f"{row.portion} {unit} {row.product}" if row.product else "no draught beer"
        say(f"  {' '.join(filter(None, (row.item, row.size))):<34.34} {what}")
    if tables.found:
        say("")
        say(f"Of the beer poured in these samples, {tables.found:.0%} finds a ring within minutes this way "
            "(roughly; tabs that are rung later are matched all the same).")
    if tables.remarks:
        say("")
        say("Worth a look:")
        for text in tables.remarks:
            say(f"  ? {text}")


def _row(record: AnyRecord, zone: str, unit: str) -> str:
    match record:
        case Ring():
            what = " ".join(filter(None, (record.item, record.size, record.modifier)))
            where = f" at {record.outlet}" if record.outlet else ""
            return f"{_at(record.at_ms, zone)}  {_number(record.units_micro)} × {what}{where}, {record.kind}"
        case Pour():
            much = f"{record.pulses} pulses" if record.volume_ul is None else _volume(record.volume_ul, unit)
            long = (record.end_ms - record.start_ms) / 1000
            return f"{_at(record.end_ms, zone)}  tap {record.tap}: {much} in {long:g} s"
        case KegEvent():
            what = " ".join(filter(None, (record.product, record.tap, record.outlet)))
            return f"{_at(record.at_ms, zone)}  {record.kind}: {_number(record.units_micro)} × {what}"
        case LogEntry():
            when = record.day if record.at_ms is None else _at(record.at_ms, zone)
            much = "" if record.volume_ul is None else f" {_volume(record.volume_ul, unit)}"
            return f"{when}  {record.reason}:{much} {record.product or record.item}"
    return ""


def _at(at_ms: int, zone: str) -> str:
    return local_iso(at_ms, zone)[:19].replace("T", " ")


def _volume(volume_ul: int, unit: str) -> str:
    return f"{from_ul(volume_ul, unit, 1)} {UNIT_LABELS.get(unit, unit)}"


def _number(micro: int) -> str:
    return f"{Decimal(micro).scaleb(-6).normalize():f}"
