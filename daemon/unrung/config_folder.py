"""Reading the config folder: every problem at once, each as a sentence that names file and key."""

from __future__ import annotations

import hashlib
import tomllib
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from babel import Locale
from babel.core import UnknownLocaleError, get_global
from babel.numbers import get_currency_precision
from pydantic import ValidationError

from unrung.by_unit import KEG_CHANGE_LOSS, LEAST_LOSS
from unrung.config_checks import contradictions, unknown_products, unknown_taps, venue_problems
from unrung.config_lines import Place, key_lines, line_of
from unrung.config_tables import OPTIONAL, TABLES, Ground, make_rows, read_table
from unrung.config_words import nearest, sentences
from unrung.errors import ConfigError
from unrung.settings import DEFAULT_ALERTS, Settings

_NOT_KEYS = ("products", "menu", "taps", "fixes", "folder", "digest", "currency_digits")


def load(folder: Path) -> Settings:
    """Read and check the config folder. Raises ConfigError with every problem found."""
    problems = _unwritable(folder)
    digest = hashlib.sha256()
    raw, lines = _toml(folder / "venue.toml", digest, problems)
    if problems:
        raise ConfigError(problems)
    settings = _venue(raw, lines, folder, problems)
    rows = {name: read_table(folder / name, digest, problems) for name in TABLES}
    for name in OPTIONAL:
        rows[name] = read_table(folder / name, digest, problems) if (folder / name).exists() else []
    tables = make_rows(rows, _ground(raw, settings), problems)
    problems += unknown_products(rows) + unknown_taps(rows)
    dated = {name: made for name, made in tables.items() if name != "fixes"}
    if settings is not None:
        problems += venue_problems(settings, rows) + contradictions(dated, settings)
    if problems or settings is None:
        raise ConfigError(problems)
    # A row copied by accident is one row: an item would else take its beer twice.
    made = {name: tuple(dict.fromkeys(row for _, row in table)) for name, table in tables.items()}
    return settings.model_copy(update={**made, "digest": digest.hexdigest()})


def _unwritable(folder: Path) -> list[str]:
    """A name of bytes that are no text could stand in no row of the store, and its backup had no name."""
    try:
        str(folder.resolve()).encode()
    except UnicodeEncodeError:
        return [f"{folder.resolve()}: the name of this folder, or of one that it lies in, is not UTF-8; "
                "rename it. If it reads well elsewhere, set the environment variable PYTHONUTF8 to 1."]
    return []


def _toml(path: Path, digest: Any, problems: list[str]) -> tuple[dict[str, Any], dict[Place, int]]:
    try:
        content = path.read_bytes()
        digest.update(content)
        text = content.decode("utf-8-sig")
        return tomllib.loads(text), key_lines(text)
    except FileNotFoundError:
        problems.append(f"{path} is not there; name the folder that holds venue.toml.")
    except OSError as error:
        problems.append(f"{path} cannot be read: {error.strerror}.")
    except UnicodeDecodeError as error:
        problems.append(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8.")
    except tomllib.TOMLDecodeError as error:
        problems.append(f"{path}: not valid TOML: {error}.")
    return {}, {}


def _venue(
    raw: dict[str, Any], lines: dict[Place, int], folder: Path, problems: list[str]
) -> Settings | None:
    """``venue.toml`` alone; None where it is so wrong that nothing can be held against it."""

    def problem(place: Place, text: str) -> None:
        line = line_of(lines, place)
        problems.append(f"venue.toml, line {line}: {text}" if line else f"venue.toml: {text}")

    for key in _NOT_KEYS:
        if key in raw:
            problem((key,), f"{key!r} is not a key here (tables are .csv files).")
            raw = {name: value for name, value in raw.items() if name != key}
    try:
        settings = Settings.model_validate({**raw, "folder": str(folder.resolve())})
    except ValidationError as error:
        found = sentences(error, Settings, lines)
        problems.extend(f"venue.toml{', ' if text.startswith('line') else ': '}{text}" for text in found)
        return None
    zone, locale = settings.venue.timezone, settings.venue.locale
    if zone not in _zones():
        near = nearest(zone, _zones())
        problem(("venue", "timezone"), f"timezone {zone!r} is not an IANA zone{near}")
        return None
    try:
        Locale.parse(locale)
    except (UnknownLocaleError, ValueError):
        problem(("venue", "locale"), f"locale {locale!r} is not known; write for example 'en_US'.")
    currency, known = settings.venue.currency, get_global("all_currencies")
    if currency not in known:
        problem(("venue", "currency"), f"currency {currency!r} is no ISO 4217 code{nearest(currency, known)}")
    return _completed(settings)


def _completed(settings: Settings) -> Settings:
    """With what follows from the venue: the currency's decimals; in its unit the least loss, and the beer
    that a keg going on may cost where that is not set."""
    unit, matching = settings.venue.volume_unit, settings.matching
    if "keg_change_allowance" not in matching.model_fields_set:
        matching = matching.model_copy(update={"keg_change_allowance": KEG_CHANGE_LOSS[unit]})
    least = {"min_volume": LEAST_LOSS[unit]}
    alerts = tuple(
        alert.model_copy(update=least) if alert is DEFAULT_ALERTS[0] else alert for alert in settings.alert
    )
    digits = get_currency_precision(settings.venue.currency)
    return settings.model_copy(update={"currency_digits": digits, "alert": alerts, "matching": matching})


def _ground(raw: dict[str, Any], settings: Settings | None) -> Ground:
    """What the tables are read by; where the venue is wrong, by what is right of it."""
    if settings is not None:
        venue = settings.venue
        return Ground(venue.timezone, venue.volume_unit, settings.currency_digits)
    said = raw.get("venue")
    venue_said: dict[str, Any] = said if isinstance(said, dict) else {}
    zone, unit = str(venue_said.get("timezone")), str(venue_said.get("volume_unit"))
    return Ground(
        zone if zone in _zones() else "UTC", unit if unit in LEAST_LOSS else "us_fl_oz", 3)


@cache
def _zones() -> frozenset[str]:
    """Every zone that is known here; finding out takes as long as a fifth of all that is read."""
    return frozenset(available_timezones())
