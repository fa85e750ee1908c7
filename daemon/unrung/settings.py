"""The models of the config folder: ``venue.toml`` and the three tables beside it.

Only shapes and defaults stand here; reading the folder and saying what is wrong with it is
``unrung.config_folder``. Defaults of rules are common practice of the trade, no source.
"""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from unrung.book_settings import Accounts, Cost, Periods, Stock
from unrung.closed_days import ClosedDay
from unrung.file_settings import Files
from unrung.mail_address import MailAddress, MailAddressOrNone
from unrung.mapping import Carries, FieldSource, Formats, _as_source
from unrung.poll_settings import Poll

VenueUnit = Literal["us_fl_oz", "us_gal", "imp_fl_oz", "imp_pt", "ml", "l"]


def _as_time(value: object) -> object:
    """"04:00" in TOML is a string; a bare 04:00:00 is a time already. A number is none: 4 would be
    taken for four seconds."""
    try:
        at = time.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        at = None
    if not isinstance(at, time) or at.tzinfo is not None:
        raise ValueError("write a local time such as \"04:00\"")
    return at


Clock = Annotated[time, BeforeValidator(_as_time)]


class Section(BaseModel):
    """A table of ``venue.toml``: unknown keys are errors, values never change."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Venue(Section):
    name: str = Field(description="Shown in mails and files.")
    timezone: str = Field(description="IANA zone, such as America/New_York.")
    day_starts: Clock = Field(time(4), description="Local time at which a business day starts.")
    opens: Clock | None = Field(None, description="Usual opening time, local.")
    closes: Clock | None = Field(None, description="Usual closing time, local; may be after midnight.")
    closed: tuple[ClosedDay, ...] = Field(
        (), description='Weekdays without trade, such as ["mon"], and days: "2026-11-26", or "12-25" of each '
        "year. Nothing is missed of them.")
    volume_unit: VenueUnit = Field("us_fl_oz", description="Unit of every volume shown.")
    currency: str = Field("USD", pattern="^[A-Z]{3}$", description="ISO 4217 code.")
    locale: str = Field(
        "en_US", description="For figures, money, days and times in mail, page, evidence, notices and status."
    )
    prices: Literal["net", "gross"] = Field("net", description="Whether till amounts include tax.")
    tax_rate: Decimal = Field(
        Decimal(0), ge=0, lt=1, description="Share of tax in a gross price where no tax column is mapped."
    )
    keep_staff_days: int | None = Field(
        None, gt=0, description="Days that a mapped staff name is stored; unset: never. Tell staff first."
    )
    clock_right_on: date | None = Field(
        None, description="A day on which somebody saw that the PC's date is right; where it is in doubt."
    )


class Pool(Section):
    name: str = Field(description="Shown in place of the outlets.")
    outlets: tuple[str, ...] = Field(min_length=2, description="Outlets whose staff ring for each other.")


class Feed(Section):
    name: str = Field(pattern=r"^[A-Za-z0-9_-]+$", description="Short name, used everywhere.")
    carries: Carries = Field(description="What a row is.")
    adapter: str = Field(description="csv, json, or the name of an installed adapter.")
    folder: str = Field("", description="Watched folder; a relative one starts at the config folder.")
    pattern: str = Field("*", description="Names of the export files, such as 'sales_*.csv'.")
    url: str = Field("", description="Polled address, in place of a folder.")
    export: Literal["append", "overlap", "span"] = Field(
        "append", description="How one export relates to the next."
    )
    resolution: Literal["single", "interval"] = Field(
        "single", description="'interval': a row is a count over a span, not one pour."
    )
    covers: Literal["business_day", "rows"] = Field(
        "business_day",
        description="Span in which the export's silence means nothing happened: the whole business "
        "days of its rows (never past the time the file was written), or first row to last.",
    )
    leave: bool = Field(False, description="Leave files where they are in place of archiving them.")
    polling: bool = Field(
        False, description="Look at the folder instead of waiting for events (network shares)."
    )
    settle_seconds: float = Field(5, ge=0, description="A file is read when it stood still this long.")
    max_bytes: int = Field(
        64 * 1024 * 1024, gt=0, description="A bigger file (or what it unpacks to) is set aside unread."
    )
    max_bad_share: float = Field(
        0.5, gt=0, le=1, description="A file with a greater share of bad rows is set aside whole."
    )
    hold_odd_times: bool = Field(
        True, description="A file whose times look as if day and month, or morning and evening, had been "
        "mixed up is set aside; false: it is taken in."
    )
    fields: dict[str, Annotated[FieldSource, BeforeValidator(_as_source)]] = Field(
        description="Record field to column, JSON pointer or {const = ...}."
    )
    formats: Formats = Field(Formats(), description="How the source writes things down.")
    poll: Poll = Field(Poll(), description="How the url is asked.")


class Matching(Section):
    window_before_minutes: float = Field(20, gt=0, description="A ring may come this long before its pour.")
    window_after_minutes: float = Field(
        90, gt=0,
        description="A ring may come this long after its pour. Over 90, for tills that only tell when a "
        "check was closed, totals are compared and no single pour is called unrung for sure.",
    )
    clock_offset_seconds: float | None = Field(
        None, description="Pins the till clock's lead over the meter clock; unset: learnt daily."
    )
    top_up_seconds: float = Field(120, ge=0, description="Longest pause within one serve.")
    keg_change_allowance: Decimal = Field(
        Decimal(16), ge=0, description="Beer that a keg going on may cost, in the venue's unit, once per "
        "keg; unset: 16 fl oz, where the unit is another one 0.8 pt, 0.125 gal, 500 ml or 0.5 l."
    )
    keg_change_minutes: float = Field(
        10, gt=0, description="How long after a keg goes on that beer may flow."
    )
    max_flow_per_second: Decimal = Field(
        Decimal(4), gt=0, description="Faster than this is gas, not beer; US fl oz a second. Of a meter with "
        "several faucets: so fast for each, but where the keg is changed after it."
    )
    log_before_minutes: float = Field(30, ge=0, description="A log entry explains pours this long before it.")
    log_after_minutes: float = Field(10, ge=0, description="... and this long after it.")
    log_tolerance: float = Field(
        0.02, ge=0, description="The meter's tolerance: an entry explains this share more."
    )


class Schedule(Section):
    issue_at: Clock = Field(time(6), description="Local time of the morning mail on the next calendar day.")
    latest_at: Clock = Field(time(11), description="Issued by then even when a feed is missing.")
    quiet_minutes: float = Field(30, ge=0, description="Late data is issued again after this pause.")
    longest_wait_minutes: float = Field(
        60, ge=0, description="... but no later than this after the first of them, where there is no pause."
    )
    trailing_minutes: float = Field(
        20, ge=0, description="Beer poured this shortly before the newest export ends is not judged yet: "
        "its ring may still come."
    )
    heartbeat_url: str = Field(
        "", description="Asked for after each day that was issued whole; with /fail when it was not."
    )
    rescan_seconds: float = Field(300, gt=0, description="Folders are listed at least this often.")


class Alert(Section):
    """A rule; ``per`` says on what it is judged. All set limits must be passed."""

    name: str = Field(pattern=r"^[a-z0-9_]+$", description="Short name of the rule.")
    per: Literal["product_day", "venue_day", "two_hours", "logged_share"] = Field(
        description="What it is judged on; logged_share: what was written down, of the beer compared."
    )
    min_pct: Decimal | None = Field(None, ge=0, description="Percent of compared beer.")
    min_volume: Decimal | None = Field(None, ge=0, description="In the venue's unit.")
    min_serves: int | None = Field(None, ge=0, description="Full-size serves without a ring.")
    times_median: Decimal | None = Field(None, ge=0, description="Times the venue's own 28-day median.")
    hold_days: int = Field(14, ge=0, description="No loss alert in the first days of data.")


DEFAULT_ALERTS = (
    # Common practice, no source.
    Alert(name="product_day", per="product_day", min_pct=Decimal(3)),
    Alert(name="venue_day", per="venue_day", min_pct=Decimal(2), times_median=Decimal(2)),
    Alert(name="two_hours", per="two_hours", min_pct=Decimal(10), min_serves=6),
    Alert(name="logged_share", per="logged_share", min_pct=Decimal(4)),
)


class Mail(Section):
    sender: MailAddressOrNone = Field("", description="From address.")
    to: tuple[MailAddress, ...] = Field((), description="Who gets the morning mail.")
    host: str = Field("", description="Mail server; empty: no mail is sent.")
    port: int = Field(587, gt=0, lt=65536, description="587 goes with starttls, 465 with tls.")
    security: Literal["starttls", "tls", "none"] = Field(
        "starttls", description="'none' only to this machine, unless plain_allowed says so."
    )
    plain_allowed: bool = Field(False, description="Allow unencrypted mail to another machine.")
    ca_file: str = Field("", description="Own certificate authority, PEM.")
    user: str = Field("", description="Log-in name; empty: no log-in.")
    password_env: str = Field("UNRUNG_MAIL_PASSWORD", description="Environment variable with the password.")
    password_file: str = Field("", description="Or a file that only its owner can read.")
    timeout_seconds: float = Field(30, gt=0, description="Longest wait for one answer.")


class Upkeep(Section):
    """What the service does each night, before the morning mail."""

    at: Clock = Field(time(5), description="Local time from which a night's upkeep is due.")
    backups: str = Field("backups", description="Folder of verified copies of the store; relative to the "
                         "config folder. Better on another disk.")
    keep_backups: int = Field(14, ge=1, description="Newest backups that are kept.")
    keep_days: int | None = Field(
        None, ge=31, description="Days after which an archived export is deleted, if all its rows are in the "
        "store and in a newer backup; unset: nothing is deleted."
    )


class Product(Section):
    """A row of ``products.csv``."""

    product: str
    keg_size_ul: int | None = None
    keg_cost_minor: int | None = None
    valid_from: date | None = None


class MenuRow(Section, use_attribute_docstrings=True):
    """A row of ``menu.csv``: one portion of one product in one menu item.

    An empty product says that the item is known and is not draught beer.
    """

    item: str
    product: str
    portion_ul: int = Field(ge=0)
    size: str = ""
    price_level: str = ""
    modifier: str = ""
    price_minor: int | None = None
    sold_by: Literal["unit", "volume"] = "unit"
    """'volume': the till's quantity counts portions' volume units (a self-serve wall)."""
    valid_from: date | None = None
    valid_to: date | None = None


class TapRow(Section, use_attribute_docstrings=True):
    """A row of ``taps.csv``: what a tap poured between two dates."""

    tap: str
    outlet: str
    product: str
    meter: str = ""
    metered: bool = True
    valid_from: date | None = None
    valid_to: date | None = None
    from_ms: int | None = None
    """Where ``from`` names a time of day; wins over ``valid_from``."""
    to_ms: int | None = None
    pulses_per_litre: Decimal | None = None
    line_volume_ul: int = 0
    counter_modulus: Decimal | None = None
    """The number at which a running meter's counter starts again, in the unit that it counts in."""


class Fix(Section):
    """A row of ``fixes.csv``: what was mended on a day, and where. Findings there are held against it; it
    changes no figure of the ledger."""

    day: date
    what: str
    tap: str = ""
    product: str = ""
    finding: str = ""


class Settings(Section, use_attribute_docstrings=True):
    """The whole config folder, read and checked."""

    venue: Venue
    feed: tuple[Feed, ...]
    pool: tuple[Pool, ...] = ()
    matching: Matching = Matching()
    schedule: Schedule = Schedule()
    alert: tuple[Alert, ...] = DEFAULT_ALERTS
    mail: Mail = Mail()
    files: Files = Files()
    upkeep: Upkeep = Upkeep()
    period: Periods = Periods()
    stock: Stock = Stock()
    cost: Cost = Cost()
    accounts: Accounts = Accounts()
    products: tuple[Product, ...] = ()
    menu: tuple[MenuRow, ...] = ()
    taps: tuple[TapRow, ...] = ()
    fixes: tuple[Fix, ...] = ()
    folder: str = ""
    """The config folder itself, absolute."""
    digest: str = ""
    """SHA-256 over the config files, recorded with everything that is issued."""
    currency_digits: int = 2
