"""How an export's columns become record fields: declared in ``venue.toml``, never guessed."""

from __future__ import annotations

from datetime import time
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

TAP_CELL, AMOUNT_CELL = "@tap", "@amount"
"""What ``fields`` calls the tap, and its cell, of meters that write a column for each tap."""

Carries = Literal["rings", "pours", "readings", "kegs", "log"]
VolumeUnit = Literal[
    "us_fl_oz", "imp_fl_oz", "ml", "cl", "dl", "l", "hl", "us_gal", "imp_gal", "us_pt", "imp_pt",
]


class Constant(BaseModel):
    """A field that is the same for every row: ``outlet = {const = "Boathouse"}``."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    const: str


FieldSource = Constant | tuple[str, ...]
"""A constant, or the columns (CSV) or JSON pointers whose texts are joined by one blank."""


def _as_source(value: object) -> object:
    return (value,) if isinstance(value, str) else value


class RowFilter(BaseModel):
    """Rows to pass over, such as a footer: where ``column`` holds one of ``values``."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    column: str
    values: tuple[str, ...]
    """"Rows: *" stands for every text that begins with "Rows: "."""

    def passes_over(self, text: str) -> bool:
        """Whether a row is named by what it has in the column.

        >>> rule = RowFilter(column="Item", values=("Total", "Rows: *", "***"))
        >>> [rule.passes_over(text) for text in ("Total", "Rows: 275", "***", "Pint")]
        [True, True, True, False]
        """
        return text in self.values or text.startswith(self._beginnings)

    @cached_property
    def _beginnings(self) -> tuple[str, ...]:
        ends = [value[:-1] for value in self.values if value.endswith("*")]
        return tuple(end for end in ends if any(map(str.isalnum, end)))  # "*" alone would be every row


class Formats(BaseModel):
    """How the source writes things down. Every setting is declared; nothing is guessed at run time."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)

    encoding: str = "utf-8"
    """Of the bytes. A byte-order mark is taken off for the UTF encodings."""
    delimiter: str = Field(",", min_length=1, max_length=1)
    """CSV: what stands between two cells; a tab is written "\\t"."""
    quote: str = Field('"', min_length=1, max_length=1)
    """CSV: what stands around a cell that holds a delimiter."""
    skip_lines: int = Field(0, ge=0)
    """Lines above the header."""
    header: bool = True
    """False: columns are named "1", "2", ... by position."""
    skip_rows: tuple[RowFilter, ...] = ()
    """Rows to pass over, such as a footer: {column = "Item", values = ["Total"]}; "Total *" is every
    text that begins so."""
    rows: str = ""
    """JSON: a pointer (RFC 6901) to the array of rows. ``*`` in place of a token goes into every
    element: "/checks/*/lines". Empty: the document itself is the array."""
    json_lines: bool = False
    """JSON: every line is a document of its own; the export is then read as the array of them."""
    tap_columns: dict[str, str] = Field(default_factory=dict)
    """Meters that write a column for each tap: column (or JSON pointer) to tap. Every filled cell is then a
    row of its own, with two more columns to map: "@tap", and "@amount" for what the cell holds."""
    compression: Literal["none", "gzip", "zip"] = "none"
    """A zip must hold exactly one file."""
    time: str = "iso"
    """"iso" (ISO 8601), "epoch_s", "epoch_ms", "sheet_days" (a spreadsheet's number for a day and time, such
    as 46321.87), or a strptime pattern such as "%m/%d/%Y %I:%M:%S %p"; names of months in other languages and
    "p. m." are read too."""
    date: str = "%Y-%m-%d"
    """strptime pattern of a date without a time (log entries)."""
    dates: Literal["calendar", "business_day"] = "calendar"
    """"business_day": the date beside a time is that of the business day, so that a time before
    ``day_starts`` is of the morning after it. Of times without an offset."""
    zone: str = ""
    """IANA zone of times without an offset; empty: the venue's. An offset in the data wins."""
    order: Literal["time", "none"] = "time"
    """"time": rows are written in time order, so a step back in the autumn hour marks its second
    pass. "none": an ambiguous time is taken as its first pass. Both are counted."""
    decimal: Literal[".", ","] = "."
    """Decimal mark of numbers written as text; a JSON number always has a point."""
    thousands: Literal["", ",", ".", " ", "'"] = ""
    """ " " also admits the no-break and narrow no-break blanks."""
    currency_marks: tuple[str, ...] = ()
    """Signs to take off an amount, such as "$"."""
    volume_unit: VolumeUnit | None = None
    """Unit of every volume in the file. Required where a volume is mapped."""
    duration_unit: Literal["s", "ms", "min"] = "s"
    """Unit of a mapped duration."""
    kinds: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    """Record kind (or log reason, or keg event) to the texts the source uses for it, compared
    without regard to case. An empty or unlisted text is an ordinary sale for rings where
    ``kinds_strict`` is false; for keg events and log entries it is a rejected row."""
    kinds_strict: bool = False
    """True: a kind that is not listed makes a rejected row."""
    negative_units: Literal["error", "void", "refund"] = "error"
    """What a negative quantity means on the till's lines."""
    amounts: Literal["line", "each"] = "line"
    """"each": the amount is the price of one unit."""
    money_unit: Literal["major", "minor"] = "major"
    """"minor": amounts, taxes and costs are whole cents, pence, øre; 700 is 7.00."""


class Mapping(BaseModel):
    """All that an adapter is told about a feed."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)

    feed: str
    carries: Carries
    fields: dict[str, Annotated[FieldSource, BeforeValidator(_as_source)]]
    """Record field to its source. Field names per kind: see ``FIELDS``."""
    formats: Formats
    zone: str
    """IANA zone of times without an offset."""
    day_starts: time = time(4)
    """Local time at which a business day starts."""
    currency_digits: int = 2
    """Minor digits of the currency."""
    max_bytes: int = 64 * 1024 * 1024
    """Bound on the bytes after decompression."""
    max_pour_ul: int = 60_000_000
    """A single pour above this (60 L by default, more than a keg) is refused as a wrong unit."""
    keep_staff: bool = False


FIELDS: dict[str, dict[str, bool]] = {
    # field: required. A pour needs two of start, end, duration and one of volume, pulses;
    # one of tap, meter. A ring's "units" defaults to 1.
    "rings": {
        "at": True, "item": True, "id": False, "version": False, "size": False,
        "price_level": False, "modifier": False, "units": False, "kind": False, "amount": False,
        "tax": False, "check": False, "terminal": False, "outlet": False, "voided_at": False,
        "voids": False, "staff": False,
    },
    "pours": {
        "tap": False, "meter": False, "start": False, "end": False, "duration": False,
        "volume": False, "pulses": False, "id": False, "version": False,
    },
    "readings": {
        "meter": True, "at": True, "total": False, "pulses": False, "id": False, "version": False,
    },
    "kegs": {
        "at": True, "kind": True, "tap": False, "product": False, "outlet": False, "keg": False,
        "size": False, "units": False, "part": False, "gross_kg": False, "tare_kg": False,
        "cost": False, "to_outlet": False, "id": False, "version": False,
    },
    "log": {
        "at": False, "end": False, "day": False, "reason": True, "tap": False, "product": False,
        "outlet": False, "item": False, "units": False, "volume": False, "id": False,
        "version": False,
    },
}
"""Fields that can be mapped, per kind of feed, and whether they must be."""
