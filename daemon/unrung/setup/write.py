"""The config folder as text: ``venue.toml`` with remarks, and the three tables."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from unrung.by_unit import KEG_CHANGE_LOSS
from unrung.mapping import FIELDS, Constant
from unrung.settings import VenueUnit
from unrung.setup.doubt import Notes
from unrung.setup.draft import Draft
from unrung.setup.proposal import MenuLine, Tables
from unrung.setup.venue import Hours
from unrung.units import UNIT_LABELS


@dataclass(frozen=True, slots=True)
class VenueFacts:
    """What goes into ``[venue]``."""

    name: str
    timezone: str
    hours: Hours
    volume_unit: VenueUnit
    currency: str
    locale: str
    prices: str


@dataclass(frozen=True, slots=True)
class FeedPlace:
    """Where a feed's exports come from."""

    folder: str
    pattern: str
    leave: bool = False


_HEAD = """\
# Written by "unrung setup" from sample exports. Lines that start with # are remarks and do nothing;
# those with a ? are worth a look. After a change, "unrung check FOLDER" reads everything and says
# what does not fit. The three tables beside this file can be edited in a spreadsheet.
"""
_KIND_ABOUT = {
    "rings": "The till", "pours": "The meters", "readings": "The meters: running totals",
    "kegs": "The cellar: kegs on, off, delivered, counted",
    "log": "What is written down: waste, staff drinks, line cleaning",
}
_EXPORT_ABOUT = {
    "append": "every row of a new file is new", "overlap": "a row that comes again counts once",
    "span": "a file is the whole truth for its days",
}


def venue_text(
    venue: VenueFacts, feeds: Sequence[tuple[Draft, FeedPlace]], notes: Notes, tables: Tables
) -> str:
    """``venue.toml``."""
    parts = [_HEAD, _venue(venue, notes), *_pools(tables)]
    parts += [_feed(draft, place, notes) for draft, place in feeds]
    parts += [_matching(venue, tables), _REST]
    if tables.remarks:
        looks = [line for text in tables.remarks for line in _remark(f"? {text}")]
        parts.append("\n".join(["# What setup found worth a look in the tables:", *looks, ""]))
    return "\n".join(parts)


def _pools(tables: Tables) -> list[str]:
    """Outlets that are compared as one; pairs that share an outlet make one pool."""
    pools: list[set[str]] = []
    for one, other, _ in tables.pools:
        joined = {one, other}.union(*(pool for pool in pools if pool & {one, other}))
        pools = [pool for pool in pools if not pool & joined] + [joined]
    return [
        "\n".join(["[[pool]]", _line("name", " and ".join(sorted(pool)), "outlets that ring for each other"),
                   _line("outlets", sorted(pool)), ""])
        for pool in pools
    ]


def _venue(venue: VenueFacts, notes: Notes) -> str:
    lines = ["# --- The venue ---", *_questions(notes, "venue"), "[venue]"]
    lines.append(_line("name", venue.name, "shown in mails and files"))
    lines.append(_line("timezone", venue.timezone, "an IANA name; the clock changes are then taken care of"))
    lines.append(_line("day_starts", venue.hours.day_starts, "sales before it belong to the evening before"))
    if venue.hours.opens:
        about = "as the samples show; beer outside is looked at twice"
        lines.append(_line("opens", venue.hours.opens, about))
        lines.append(_line("closes", venue.hours.closes))
    if venue.hours.closed:
        lines.append(_line("closed", list(venue.hours.closed), "weekdays without trade, as the samples show"))
    about = f"of every volume shown: {', '.join(get_args(VenueUnit))}"
    lines.append(_line("volume_unit", venue.volume_unit, about))
    lines.append(_line("currency", venue.currency))
    lines.append(_line("locale", venue.locale, "how the mail writes dates and money"))
    lines.append(_line("prices", venue.prices, 'the till\'s amounts: "net" without tax, "gross" with it'))
    if venue.prices == "gross":
        lines.append("# tax_rate = 0.20               # ? share of tax in a gross price, if no column has it")
    return "\n".join([*lines, ""])


def _feed(draft: Draft, place: FeedPlace, notes: Notes) -> str:
    lines = [
        f"# --- {_KIND_ABOUT[draft.carries]} ---",
        f"# Read from: {', '.join(sample.name for sample in draft.samples[:3])}"
        + (f" and {len(draft.samples) - 3} more" if len(draft.samples) > 3 else ""),
        "[[feed]]", _line("name", draft.name),
        _line("carries", draft.carries, draft.why.get("carries", "")),
        _line("adapter", draft.adapter),
        _line("folder", place.folder, "a relative one starts at this folder"),
        _line("pattern", place.pattern, "which of its files belong to this feed"),
        *(_remark(draft.why["export"]) if "export" in draft.why else []),
        _line("export", draft.export, _EXPORT_ABOUT[draft.export]),
    ]
    if place.leave:
        lines.append("leave = true                    # files stay where they are")
    if draft.resolution != "single":
        lines.append(_line("resolution", draft.resolution, "a row is a count over a span, not one pour"))
    lines += ["", "[feed.fields]                   # our word = the column of the export"]
    lines += [
        _line(field, _source(draft.fields[field]), draft.why.get(field, ""))
        for field in FIELDS[draft.carries] if field in draft.fields
    ]
    lines += _left_out(draft)
    lines += ["", *_questions(notes, draft.name), "[feed.formats]", *_formats(draft)]
    return "\n".join([*lines, ""])


def _formats(draft: Draft) -> list[str]:
    kinds = draft.formats.get("kinds")
    apart = ("kinds", "skip_rows", "tap_columns")
    plain = {key: value for key, value in draft.formats.items() if key not in apart}
    lines = [_line(key, value, draft.why.get(key, "")) for key, value in plain.items()]
    if "skip_rows" in draft.formats:
        rules = ", ".join(
            f"{{column = {_toml(rule['column'])}, values = {_toml(rule['values'])}}}"
            for rule in draft.formats["skip_rows"]
        )
        lines.append(f"skip_rows = [{rules}]        # sums and second headings are no rows")
    if "tap_columns" in draft.formats:
        lines.append("[feed.formats.tap_columns]      # the export's column = the tap or meter")
        lines += [_line(column, tap) for column, tap in draft.formats["tap_columns"].items()]
    if kinds:
        lines.append("[feed.formats.kinds]            # what the export writes for each")
        lines += [_line(kind, texts) for kind, texts in kinds.items()]
    return lines


def _left_out(draft: Draft) -> list[str]:
    used = {name for source in draft.fields.values() if not isinstance(source, Constant) for name in source}
    names = [f'"{one.name}"' for one in draft.sheet.columns if one.name not in used]
    return _remark(f"Not stored: {', '.join(names)}") if names else []


def _source(source: Any) -> Any:
    if isinstance(source, Constant):
        return source
    return source[0] if len(source) == 1 else list(source)


def _questions(notes: Notes, about: str) -> list[str]:
    """Decisions without certainty, as remarks above what they decided."""
    asked = [sentence for key, sentence in notes.taken if key.split(":")[0] == about]
    return [line for sentence in asked for line in _remark(f"? {sentence}")]


def _remark(text: str) -> list[str]:
    """A remark of its own, broken to a readable width."""
    return textwrap.wrap(
        text, 100, initial_indent="# ", subsequent_indent="#   ", break_long_words=False,
        break_on_hyphens=False,
    )


def _matching(venue: VenueFacts, tables: Tables) -> str:
    lines = ["# --- Matching ---", "[matching]"]
    lines += [f"{f'{name} = {value}':<31} # {why}" for name, value, why in tables.matching]
    allowance, unit = str(KEG_CHANGE_LOSS[venue.volume_unit]), UNIT_LABELS[venue.volume_unit]
    about = f"# beer that a new keg may cost before it pours clear, in {unit}"
    return "\n".join([*lines, f"keg_change_allowance = {allowance:<10} {about}", ""])


_REST = """\
# --- When the day's files and the morning mail go out ---
[schedule]
issue_at = "06:00"
latest_at = "11:00"             # by then even when an export is missing

# --- The morning mail ---
# Without a host no mail is sent. The password never stands in this file: put it into the
# environment variable UNRUNG_MAIL_PASSWORD, or name a file that only its owner can read.
[mail]
sender = ""
to = []                         # ["manager@example.org"]
# host = "mail.example.org"
# port = 587
# security = "starttls"         # or "tls"; "none" only to this machine
# user = "bar"
# password_file = "mail-password"

# --- Where things go; relative paths start at this folder ---
[files]
folder = "issued"               # daily and monthly files
archive = "archive"             # exports that were taken in
aside = "set_aside"             # exports that could not be, with the reason
store = "unrung.sqlite"         # the database; keep it on a local disk
"""


def _line(key: str, value: Any, remark: str = "") -> str:
    text = f"{_key(key)} = {_toml(value)}"
    if not remark:
        return text
    line = f"{text:<31} # {remark}"
    return line if len(line) <= 100 else "\n".join([*_remark(remark), text])


def _key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else _toml(key)


def _toml(value: Any) -> str:
    """A value as TOML; JSON's strings are TOML's basic strings."""
    if isinstance(value, Constant):
        return f"{{const = {_toml(value.const)}}}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(str(k))} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return str(value)


def products_text(tables: Tables) -> str:
    """``products.csv``."""
    return _csv(
        ("product", "keg_size", "keg_cost"),
        ["Each beer, as the other tables call it; keg_size such as 1/2 us_bbl, 50 l or firkin."],
        [((one.product, one.keg_size, one.keg_cost), "") for one in tables.products],
    )


def menu_text(tables: Tables) -> str:
    """``menu.csv``."""
    return _csv(
        ("item", "size", "product", "portion", "unit", "price"),
        ["Item and size exactly as the till writes them; portion is what runs through the meter for one, "
         "head and usual pour-off included.",
         "An item of several beers has a row for each; one without a product is no draught beer."],
        [(_menu_row(one), one.remark) for one in tables.menu],
    )


def _menu_row(one: MenuLine) -> tuple[str, ...]:
    return one.item, one.size, one.product, one.portion, one.unit, one.price


def taps_text(tables: Tables) -> str:
    """``taps.csv``."""
    factor = any(one.pulses_per_litre for one in tables.taps)
    dated = any(one.since or one.until for one in tables.taps)
    meters = any(one.meter for one in tables.taps)
    header = ["tap", *["meter"] * meters, "outlet", "product", "metered", "line_volume"]
    header += ["from", "to"] * dated + ["pulses_per_litre"] * factor
    rows = []
    for one in tables.taps:
        cells = [one.tap, *[one.meter] * meters, one.outlet, one.product, "yes" if one.metered else "no", ""]
        cells += [one.since, one.until] * dated + [one.pulses_per_litre] * factor
        rows.append((tuple(cells), one.remark))
    heads = ["tap as the meters write it; line_volume is the beer that stands in its line: without it, what "
             "a cleaning pushes out of the line counts as water."]
    return _csv(header, heads, rows)


def _csv(header: Sequence[str], heads: Sequence[str], rows: Iterable[tuple[Sequence[str], str]]) -> str:
    text = io.StringIO(newline="")
    out = csv.writer(text, lineterminator="\n")
    out.writerow(header)
    for head in heads:
        out.writerow([f"# {head}"])
    for cells, remark in rows:
        if remark:
            out.writerow([f"# {cells[0]} {cells[1] if cells[1:] else ''}".strip() + f": {remark}"])
        out.writerow(cells)
    return text.getvalue()
