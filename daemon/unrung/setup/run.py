"""``unrung setup`` from end to end: look, understand, propose, show, write."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from tempfile import TemporaryDirectory

from babel.numbers import get_currency_precision

from unrung.business_day import business_day
from unrung.config_folder import load
from unrung.errors import ConfigError, UnrungError
from unrung.intake.archive import sentence
from unrung.mapping import Carries
from unrung.records import AnyRecord, KegEvent, Pour, Ring
from unrung.settings import Venue, VenueUnit
from unrung.setup.business_dates import settle_dates, writes_dates_apart
from unrung.setup.clocks import month_leads, settle_time_form, zone_found
from unrung.setup.counters import flows
from unrung.setup.doubt import Ask, Notes, takes_proposals
from unrung.setup.draft import Draft, Sample
from unrung.setup.evidence import Evidence
from unrung.setup.fast_flow import note_fast_flow
from unrung.setup.files import copy_samples, pattern_of, put, refuse_overwriting, samples_of
from unrung.setup.kegs import fill_kegs
from unrung.setup.known import known_names
from unrung.setup.late_rings import note_late_rings
from unrung.setup.meet import RingFact, quarter_shift
from unrung.setup.money import currency_of, settle_money_unit, unknown_currency
from unrung.setup.pools import pool_question
from unrung.setup.proposal import Key, Place, Tables
from unrung.setup.propose import propose, usual_price
from unrung.setup.pulses import settle_pulses
from unrung.setup.records import Read, merged, read_draft
from unrung.setup.relate import relation
from unrung.setup.show import show_feed, show_tables
from unrung.setup.spans import over_spans
from unrung.setup.times import has_offset
from unrung.setup.understand import understand
from unrung.setup.venue import Country, country_of, hours_of
from unrung.setup.write import FeedPlace, VenueFacts, menu_text, products_text, taps_text, venue_text
from unrung.setup.zones import explain_shift
from unrung.shell_words import as_word

Say = Callable[[str], None]
NAMES: dict[Carries, str] = {"rings": "till", "pours": "meters", "kegs": "cellar", "log": "log"}

_RECENT_DAYS = 3
"""Samples that end this long ago are no sample of today."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What was asked for on the command line."""

    into: Path
    given: dict[Carries, tuple[str, ...]]
    """Kind of feed to files, folders and patterns."""
    name: str = ""
    timezone: str = ""
    pulses_per_litre: str = ""
    in_place: bool = False
    """Exports will come into the folders where the samples lie, and stay there."""
    force: bool = False


@dataclass
class Look:
    """Everything found so far."""

    drafts: list[Draft]
    notes: Notes
    zone: str = "UTC"
    zone_sure: bool = False
    country: Country = field(default_factory=lambda: Country("", "", "en_US"))
    currency: str = "USD"
    reads: dict[str, Read] = field(default_factory=dict)
    records: dict[str, list[AnyRecord]] = field(default_factory=dict)

    @property
    def digits(self) -> int:
        return get_currency_precision(self.currency)


def run_setup(wishes: Wishes, ask: Ask, say: Say, machine_zone: str, now_ms: int) -> None:
    """Write a config folder from samples. Raises ConfigError, or UnrungError for a file that cannot
    be understood; nothing is written then."""
    if not wishes.force:
        refuse_overwriting(wishes.into)
    samples = _samples(wishes)
    look = look_at(samples, wishes, ask, machine_zone, now_ms)
    for draft in look.drafts:
        show_feed(draft, look.reads[draft.name], look.records[draft.name], look.zone, say)
    tables, place = _tables(look, wishes)
    show_tables(tables, say)
    _write(wishes, look, tables, place, say)
    _say_next(wishes.into, look, say, now_ms)


def _samples(wishes: Wishes) -> dict[Carries, list[Sample]]:
    samples: dict[Carries, list[Sample]] = {}
    problems: list[str] = []
    for carries, given in wishes.given.items():
        try:
            if given:
                samples[carries] = samples_of(given)
        except ConfigError as error:
            problems += error.problems
    if problems:
        raise ConfigError(problems)
    return samples


def look_at(
    samples: dict[Carries, list[Sample]], wishes: Wishes, ask: Ask, machine_zone: str, now_ms: int
) -> Look:
    """Understand every feed, and read its samples as they will be read."""
    notes = Notes(ask)
    look = Look([understand(kind, NAMES[kind], mine, notes) for kind, mine in samples.items()], notes)
    month_first = month_leads(wishes.timezone or machine_zone, currency_of(look.drafts))
    for draft in look.drafts:
        settle_time_form(draft, [one for one in look.drafts if one is not draft], month_first, notes)
    _settle_zone(look, wishes, machine_zone, now_ms)
    _settle_dates(look, now_ms)
    look.country = country_of(look.zone)
    look.currency = currency_of(look.drafts, look.country) or look.country.currency or notes.settle(
        "venue: currency", unknown_currency(look.drafts))
    settle_money_unit(look.drafts, look.currency, look.digits, notes)
    _read_all(look, now_ms, notes)
    _refuse_unreadable(look)
    return look


def _settle_zone(look: Look, wishes: Wishes, machine: str, now_ms: int) -> None:
    """The zone as given, as the offsets show, or as rings and pours lie apart."""
    found = zone_found(look.drafts, wishes.timezone, machine)
    look.zone, look.zone_sure = found.value, bool(wishes.timezone) or found.doubt is None
    if "offsets" not in found.why or wishes.timezone:
        _read_all(look, now_ms, Notes(takes_proposals))  # by a zone that is tried; people are asked once
        rings, pours = _times(look, "rings"), _times(look, "pours")
        shift = quarter_shift(rings, pours) if rings and pours else 0
        if shift:
            says = {
                one.side: has_offset(one.formats.get("time", "iso"), one.texts_of_time)
                for one in look.drafts
            }
            shifted = explain_shift(shift, look.zone, look.zone_sure, rings, says["rings"], says["pours"])
            if shifted is not None:
                found = shifted.zone
                _write_utc(look, shifted.utc_feed)
    look.zone = look.notes.settle("venue: timezone", found)


def _settle_dates(look: Look, now_ms: int) -> None:
    for draft in filter(writes_dates_apart, look.drafts):
        _read_all(look, now_ms, Notes(takes_proposals))
        rings, pours = _times(look, "rings"), _times(look, "pours")
        settle_dates(draft, rings, pours, look.zone, hours_of(rings, look.zone).day_starts)


def _write_utc(look: Look, carries: str) -> None:
    for draft in look.drafts:
        if draft.side == carries:
            draft.formats["zone"] = "UTC"
            draft.why["zone"] = "its times lie as far from the other side's as UTC does"


def _read_all(look: Look, now_ms: int, notes: Notes) -> None:
    venue = Venue(name="setup", timezone=look.zone)
    for draft in look.drafts:
        read = read_draft(draft, venue, look.digits, now_ms)
        found = relation(read.files)
        draft.export = notes.settle(f"{draft.name}: export", found)
        draft.why["export"] = found.why
        look.reads[draft.name], look.records[draft.name] = read, flows(merged(read, draft.export))


def _refuse_unreadable(look: Look) -> None:
    """Most rows must read by what was understood; else it was misunderstood, and nothing is written."""
    for draft in look.drafts:
        read = look.reads[draft.name]
        bad, total = len(read.rejects), len(read.rejects) + len(read.records)
        if read.problems or not total or bad > 0.5 * total:
            said = list(read.problems)
            for name, reject in read.rejects[:1]:
                said.append(f"{name}, line {reject.line}, field {reject.field!r}: {sentence(reject)}")
            raise UnrungError(
                f"{draft.name}: {bad} of {total} rows cannot be read as understood. {' '.join(said)} "
                "Map this feed by hand, after the example config folder"
            )


def _times(look: Look, carries: str) -> list[int]:
    return sorted(
        one.end_ms if isinstance(one, Pour) else one.at_ms
        for draft in look.drafts if draft.side == carries for one in look.records[draft.name]
        if isinstance(one, Pour | Ring)
    )


def _tables(look: Look, wishes: Wishes) -> tuple[Tables, Place]:
    known = known_names(look.drafts, look.records, look.zone)
    country = look.country
    metric = not _us_measures(look) and not country.pints
    place = Place(metric, country.pints, metric_pint=country.metric_pints)
    rings = [one for rows in look.records.values() for one in rows if isinstance(one, Ring)]
    pours = [one for rows in look.records.values() for one in rows if isinstance(one, Pour)]
    sold = [
        RingFact(one.at_ms, one.outlet, one.item, one.size, one.units_micro / 1e6, one.check)
        for one in rings if one.kind in ("sale", "comp") and one.units_micro > 0
    ]
    factor, facts = settle_pulses(pours, sold, wishes.pulses_per_litre, look.country.pints, look.notes)
    spans = any(over_spans(draft, look.records[draft.name]) for draft in look.drafts)
    evidence = Evidence(sold, facts, _prices(rings, look.digits), known, spans)
    tables = propose(evidence, place)
    for draft in (one for one in look.drafts if one.side == "rings"):
        note_late_rings(draft, tables)
    note_fast_flow(pours, factor, tables)
    for line in tables.taps:
        line.pulses_per_litre = factor if line.metered else ""
    events = [one for rows in look.records.values() for one in rows if isinstance(one, KegEvent)]
    fill_kegs(tables.products, events, look.digits)
    tables.pools = [
        pool for pool in tables.pools if look.notes.settle("venue: pool", pool_question(*pool)) == "yes"
    ]
    return tables, place


def _us_measures(look: Look) -> bool:
    """By the country; where the zone names none, by the dollar or by meters that count ounces."""
    if look.country.territory:
        return look.country.us_measures
    units = {draft.formats.get("volume_unit") for draft in look.drafts if draft.side == "pours"}
    return look.currency == "USD" and units <= {None, "us_fl_oz"}


def _prices(rings: list[Ring], digits: int) -> dict[Key, str]:
    """The usual price of one, as the currency writes it."""
    found: dict[Key, list[float]] = defaultdict(list)
    for one in rings:
        if one.kind == "sale" and one.amount_minor and one.units_micro > 0:
            found[Key(one.item, one.size)].append(one.amount_minor * 1_000_000 / one.units_micro)
    return {key: f"{usual_price(amounts) / 10**digits:.{digits}f}" for key, amounts in found.items()}


def _write(wishes: Wishes, look: Look, tables: Tables, place: Place, say: Say) -> None:
    feeds = [(draft, _place(draft, wishes)) for draft in look.drafts]
    us = _us_measures(look)
    unit: VenueUnit = "us_fl_oz" if us else "imp_pt" if look.country.pints else "l"
    venue = VenueFacts(
        _venue_name(wishes, look), look.zone, hours_of(_times(look, "rings"), look.zone),
        unit, look.currency, look.country.locale, "net" if us else "gross",
    )
    texts = {
        "venue.toml": venue_text(venue, feeds, look.notes, tables),
        "products.csv": products_text(tables), "menu.csv": menu_text(tables), "taps.csv": taps_text(tables),
    }
    with TemporaryDirectory(prefix="unrung-setup-") as aside:
        put(Path(aside), texts)
        load(Path(aside))
    put(wishes.into, texts)
    for draft, where in feeds:
        if not where.leave:
            copy_samples(draft.samples, wishes.into / where.folder)
    say("")
    say(f"Written: {wishes.into}/ venue.toml, products.csv, menu.csv, taps.csv")


def _say_next(into: Path, look: Look, say: Say, now_ms: int) -> None:
    """The next commands; with samples of some time ago up to their last day, so that not every silent
    day since then is issued."""
    say(f"Next:\n      unrung check {as_word(into)}")
    rung = _times(look, "rings")
    day_starts = time.fromisoformat(hours_of(rung, look.zone).day_starts)
    last = business_day(rung[-1], look.zone, day_starts)
    old = (business_day(now_ms, look.zone, day_starts) - last).days > _RECENT_DAYS
    say(f"      unrung catch-up {as_word(into)}{f' --through {last}' if old else ''}")


def _place(draft: Draft, wishes: Wishes) -> FeedPlace:
    pattern = pattern_of([sample.name for sample in draft.samples])
    if wishes.in_place:
        return FeedPlace(Path(draft.samples[0].path).parent.as_posix(), pattern, leave=True)
    return FeedPlace(f"exports/{draft.name}", pattern)


def _venue_name(wishes: Wishes, look: Look) -> str:
    """As asked, as an export says it in every row, or as the folder is called."""
    if wishes.name:
        return wishes.name
    for draft in look.drafts:
        column = draft.beside.get("outlet") or next(iter(draft.fields.get("outlet", ())), "")
        values = draft.sheet.named(column).values if column else []
        if len(values) == 1 and " " in values[0]:
            return values[0]
    return wishes.into.name.replace("-", " ").replace("_", " ").title() or "The bar"
