"""From sample files to a feed's ``fields`` and ``formats``."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from unrung.errors import UnrungError
from unrung.mapping import FIELDS, Carries
from unrung.setup.columns import fields_of
from unrung.setup.counters import become_readings
from unrung.setup.doubt import Notes
from unrung.setup.draft import Draft, Sample, open_samples
from unrung.setup.facts import facts_of, number_texts
from unrung.setup.kinds import settle_kinds
from unrung.setup.money import settle_amounts, take_marked_amount
from unrung.setup.numbers import number_form
from unrung.setup.quantities import settle_quantities
from unrung.setup.sheet import Sheet, joined
from unrung.setup.size_columns import take_sizes_by_price
from unrung.setup.sizes import says_a_size
from unrung.setup.spans import settle_span, take_end
from unrung.setup.tap_columns import turned
from unrung.setup.times import forms_of, sheet_days
from unrung.setup.volumes import settle_volumes
from unrung.setup.words import HEADERS, header_fit

_ENOUGH_SIZED = 20
"""Rows with a size that are no accident."""
_NEEDS = {"rings": ("at", "item"), "kegs": ("at", "kind"), "log": ("reason",)}
_SAID = {
    "at": "when a row happened", "item": "the menu item", "kind": "what happened to the keg",
    "reason": "why the beer was drawn", "tap": "the tap or meter", "volume": "how much flowed",
}


def understand(carries: Carries, name: str, samples: list[Sample], notes: Notes) -> Draft:
    """A feed's draft: all but its time form and how its files relate, which need the other feeds.

    Raises UnrungError where a needed column cannot be found.
    """
    draft, sheets = open_samples(carries, name, samples, notes)
    readings = [_read_as(draft, sheet) for sheet in sheets]
    if carries == "pours" and draft.formats.get("header", True):
        readings += [
            _read_as(draft, by_tap) for _, columns, sheet in readings
            if (by_tap := turned(sheet)) and not _says_tap(columns, by_tap)
        ]
    _, columns, sheet = max(readings, key=lambda reading: reading[0])
    draft.sheet, (draft.facts, _) = sheet, facts_of(sheet)
    if sheet.rows_at:
        draft.formats["rows"] = sheet.rows_at
    if sheet.tap_columns:
        draft.formats["tap_columns"] = sheet.tap_columns
    _take_columns(draft, columns)
    take_marked_amount(draft)
    _take_sizes_from_modifiers(draft)
    _keep_true_ids(draft)
    _settle_numbers(draft, notes)
    if carries == "pours":
        become_readings(draft)
    if draft.carries == "pours":
        settle_span(draft, notes)
    take_end(draft)
    _need_columns(draft)
    take_sizes_by_price(draft)
    settle_quantities(draft, notes)
    settle_kinds(draft, notes)
    settle_amounts(draft, notes)
    settle_volumes(draft, notes)
    draft.time_forms = _time_forms(draft)
    return draft


Reading = tuple[tuple[int, int, int], dict[str, tuple[str, ...]], Sheet]


def _read_as(draft: Draft, sheet: Sheet) -> Reading:
    """How well an array of a JSON document does as the rows: needed fields, own fields, rows."""
    columns = fields_of(draft.carries, facts_of(sheet)[0])
    needed = sum(name in columns for name in _NEEDS.get(draft.carries, ("tap", "volume", "end", "start")))
    own = sum(name[0].startswith("/") for name in columns.values())
    return (needed, own, sheet.rows), columns, sheet


def _says_tap(columns: dict[str, tuple[str, ...]], by_tap: Sheet) -> bool:
    """Whether a header says that its column tells the tap: figures alone may look so, and each tap's own,
    which ``by_tap`` has no more."""
    titles = {column.name: column.title for column in by_tap.columns}
    return any(
        header_fit(titles.get(columns[field][0], ""), HEADERS["pours"][field]) >= 0.3
        for field in ("tap", "meter") if field in columns
    )


def _take_columns(draft: Draft, columns: dict[str, tuple[str, ...]]) -> None:
    known = FIELDS[draft.carries]
    for field, names in columns.items():
        if field == "staff":
            continue
        if field in known:
            draft.fields[field] = names
        else:
            draft.beside[field] = names[0]


def _take_sizes_from_modifiers(draft: Draft) -> None:
    """A till may write a glass's size as an item's modifier, beside "no onion": where nearly every row of an
    item says one, the column is that of sizes."""
    if "size" in draft.fields or not {"item", "modifier"} <= draft.fields.keys():
        return
    rows: dict[str, list[bool]] = defaultdict(list)
    for item, modifier in zip(draft.texts("item"), draft.texts("modifier"), strict=True):
        rows[item].append(says_a_size(modifier))
    sized = sum(len(said) for said in rows.values() if sum(said) >= 0.8 * len(said))
    if sized >= _ENOUGH_SIZED:
        draft.fields["size"] = draft.fields.pop("modifier")


def _keep_true_ids(draft: Draft) -> None:
    """A number that begins anew in every file is no id: rows of another day would replace these."""
    if "id" not in draft.fields:
        return
    main = next((name for name in ("at", "start", "end") if name in draft.fields), None)
    times = draft.texts(main) if main else [""] * draft.sheet.rows
    seen: dict[str, str] = {}
    other = same = 0
    for ref, at in zip(draft.texts("id"), times, strict=True):
        other += seen.get(ref, at) != at
        same += seen.setdefault(ref, at) == at
    counts_rows = len(draft.samples) == 1 and draft.texts("id")[:2] in (["1", "2"], ["0", "1"])
    if other > 0.02 * (other + same) or counts_rows:
        draft.fields.pop("id")
        draft.why["id"] = "no id"


_NUMBERS = (
    "units", "amount", "tax", "volume", "pulses", "duration", "size", "part", "cost", "gross_kg", "tare_kg",
)  # fmt: skip


def _settle_numbers(draft: Draft, notes: Notes) -> None:
    used = {draft.fields[field][0] for field in _NUMBERS if field in draft.fields and (
        field != "size" or draft.carries == "kegs")}
    form, decimal = number_form(number_texts([one for one in draft.facts if one.column.name in used]))
    draft.formats["decimal"] = notes.settle(f"{draft.name}: decimal", decimal)
    if form.thousands and form.thousands != draft.formats["decimal"]:
        draft.formats["thousands"] = form.thousands
    if form.marks:
        draft.formats["currency_marks"] = list(form.marks)
    if draft.formats["decimal"] == ".":
        del draft.formats["decimal"]


def _need_columns(draft: Draft) -> None:
    lacking = [name for name in _NEEDS.get(draft.carries, ()) if name not in draft.fields]
    if draft.carries == "pours":
        lacking = [] if {"tap", "meter"} & set(draft.fields) else ["tap"]
        lacking += [] if {"volume", "pulses"} & set(draft.fields) else ["volume"]
        lacking += [] if {"start", "end"} & set(draft.fields) else ["at"]
    if draft.carries == "log" and not {"at", "day"} & set(draft.fields):
        lacking.append("at")
    if lacking and not draft.sheet.rows:
        raise UnrungError(f"{draft.samples[0].name} has a header and no row below it; give a file with a day "
                          "of rows in it")
    if lacking:
        raise UnrungError(
            f"{draft.samples[0].name}: no column looks like {' or '.join(_SAID[name] for name in lacking)}. "
            f"Columns that are there, and their first values: {_shown(draft)}. {_one_each(draft, lacking)}"
            f"{_exchanged(draft)}"
            "Rename one so that its header says it, or copy the example config folder and map it by hand"
        )


def _shown(draft: Draft) -> str:
    """Every column with its first value, but for names of staff."""
    staff = HEADERS["rings"]["staff"]
    return ", ".join(
        f"{one.name!r} {'' if header_fit(one.title, staff) >= 0.3 else next(iter(one.values), '')}".rstrip()
        for one in draft.sheet.columns
    )


def _exchanged(draft: Draft) -> str:
    """Whether a till's export seems to stand for the meters', or the other way round."""
    other, field = {"rings": ("pours", "tap"), "pours": ("rings", "item")}.get(draft.carries, ("", ""))
    named = other and any(header_fit(one.title, HEADERS[other][field]) >= 0.5 for one in draft.sheet.columns)
    return "Were --rings and --pours exchanged? " if named else ""


def _one_each(draft: Draft, lacking: Sequence[str]) -> str:
    """Whether each tap has a column of its own, under headers by which that is not seen."""
    amounts = [one.column.name for one in draft.facts if one.numbers and one.different > 2]
    if "tap" not in lacking or len(amounts) < 2:
        return ""
    return (
        f"If {amounts[0]!r}, {amounts[1]!r} and so on are taps, give them headers such as 'Tap 1', or map "
        "them by hand under formats.tap_columns. "
    )


def _time_forms(draft: Draft) -> list[str]:
    """Forms in which every time field reads; a time field that reads otherwise is left out."""
    main = next(name for name in ("at", "start", "end", "day") if name in draft.fields)
    forms = [one.form for one in forms_of(_values(draft, main)) or sheet_days(_values(draft, main))]
    for field in ("end", "voided_at"):
        if field in draft.fields and field != main:
            values = _values(draft, field)
            own = forms_of(values) or sheet_days(values)
            both = [one.form for one in own if one.form in forms] if values else forms
            if both:
                forms = both
            else:
                draft.fields.pop(field)
    if draft.carries == "log" and "day" in draft.fields and main != "day":
        days = [one.form for one in forms_of(_values(draft, "day")) if one.kind == "date"]
        draft.formats["date"] = days[0] if days else "%Y-%m-%d"
    return forms


def _values(draft: Draft, field: str) -> Sequence[str]:
    columns = [draft.sheet.named(name) for name in draft.fields[field]]
    if len(columns) == 1:
        return columns[0].values
    return list(dict.fromkeys(text.strip() for text in joined(columns) if text.strip()))
