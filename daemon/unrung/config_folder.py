"""Reading the config folder: every problem at once, each as a sentence that names file and key."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from babel import Locale
from babel.core import UnknownLocaleError
from babel.numbers import get_currency_precision
from pydantic import ValidationError

from unrung.config_tables import TABLES, make_rows, read_table
from unrung.config_words import nearest, sentences
from unrung.errors import ConfigError
from unrung.poll_settings import poll_problems
from unrung.settings import DEFAULT_ALERTS, LEAST_LOSS, Settings


def load(folder: Path) -> Settings:
    """Read and check the config folder. Raises ConfigError with every problem found."""
    problems: list[str] = []
    digest = hashlib.sha256()
    raw = _toml(folder / "venue.toml", digest, problems)
    if problems:
        raise ConfigError(problems)
    settings = _venue(raw, folder, problems)
    rows = {name: read_table(folder / name, digest, problems) for name in TABLES}
    if settings is None:
        raise ConfigError(problems)
    tables = make_rows(rows, settings, problems)
    problems += _cross_checks(settings, tables)
    if problems:
        raise ConfigError(problems)
    return settings.model_copy(update={**tables, "digest": digest.hexdigest()})


def _toml(path: Path, digest: Any, problems: list[str]) -> dict[str, Any]:
    try:
        content = path.read_bytes()
        digest.update(content)
        return tomllib.loads(content.decode("utf-8-sig"))
    except FileNotFoundError:
        problems.append(f"{path} is not there; name the folder that holds venue.toml.")
    except OSError as error:
        problems.append(f"{path} cannot be read: {error.strerror}.")
    except UnicodeDecodeError as error:
        problems.append(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8.")
    except tomllib.TOMLDecodeError as error:
        problems.append(f"{path}: not valid TOML: {error}.")
    return {}


def _venue(raw: dict[str, Any], folder: Path, problems: list[str]) -> Settings | None:
    for key in ("products", "menu", "taps", "folder", "digest", "currency_digits"):
        if key in raw:
            problems.append(f"venue.toml: {key!r} is not a key here (tables are .csv files).")
            raw = {name: value for name, value in raw.items() if name != key}
    try:
        settings = Settings.model_validate({**raw, "folder": str(folder.resolve())})
    except ValidationError as error:
        problems.extend(f"venue.toml: {text}" for text in sentences(error, Settings))
        return None
    if settings.venue.timezone not in available_timezones():
        near = nearest(settings.venue.timezone, available_timezones())
        zone = settings.venue.timezone
        problems.append(f"venue.toml: [venue] timezone {zone!r} is not an IANA zone{near}.")
        return None
    try:
        Locale.parse(settings.venue.locale)
    except (UnknownLocaleError, ValueError):
        problems.append(
            f"venue.toml: [venue] locale {settings.venue.locale!r} is not known; write for example 'en_US'."
        )
    problems += _alert_problems(settings)
    digits = get_currency_precision(settings.venue.currency)
    alerts = tuple(
        alert.model_copy(update={"min_volume": LEAST_LOSS[settings.venue.volume_unit]})
        if alert is DEFAULT_ALERTS[0] else alert
        for alert in settings.alert
    )
    return settings.model_copy(update={"currency_digits": digits, "alert": alerts})


def _alert_problems(settings: Settings) -> list[str]:
    """A rule on two hours needs windows of at most two hours to add up."""
    if settings.files.window_minutes <= 120 or all(one.per != "two_hours" for one in settings.alert):
        return []
    return [
        f"venue.toml: [files] window_minutes = {settings.files.window_minutes} is longer than the two "
        "hours that an alert is judged on; set at most 120, or take the two_hours alert out."
    ]


def _cross_checks(settings: Settings, tables: dict[str, Any]) -> list[str]:
    products = {row.product for row in tables["products"]}
    problems: list[str] = []
    for name, what in (("menu", "item"), ("taps", "tap")):
        for row in tables[name]:
            if row.product and row.product not in products:
                problems.append(
                    f"{name}.csv: {what} {getattr(row, what)!r} names product {row.product!r}, which is "
                    f"not in products.csv{nearest(row.product, products)}."
                )
    outlets = {row.outlet for row in tables["taps"]}
    for pool in settings.pool:
        problems += [
            f"venue.toml: pool {pool.name!r} names outlet {outlet!r}, where no tap stands"
            f"{nearest(outlet, outlets)}." for outlet in pool.outlets if outlet not in outlets
        ]
    names = [feed.name for feed in settings.feed]
    problems += [f"venue.toml: two feeds are called {name!r}." for name in sorted(
        {name for name in names if names.count(name) > 1})]
    problems += [
        f"venue.toml: feed {feed.name!r} needs either folder or url." for feed in settings.feed
        if bool(feed.folder) == bool(feed.url)
    ]
    problems += [
        f"venue.toml: feed {feed.name!r}: {text}" for feed in settings.feed if feed.url
        for text in poll_problems(
            feed.url, feed.poll, maps_id="id" in feed.fields, export=feed.export,
            packed=feed.formats.compression != "none",
        )
    ]
    return problems
