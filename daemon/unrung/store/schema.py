"""Tables, as numbered migrations; each index with the query it serves.

Integers only: volumes in microlitres, times in UTC milliseconds, quantities in millionths, money in
minor units. All tables are STRICT, so that a text never lands in a number.
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

from unrung.store.month_schema import MONTHS

APPLICATION_ID = 0x554E5247
"""'UNRG': tells our file from any other SQLite file, and from an empty one."""

migrations = Migrations("unrung")

_SOURCES = """
CREATE TABLE sources (
  id INTEGER PRIMARY KEY,
  feed TEXT NOT NULL,
  name TEXT NOT NULL,             -- file name or request, as people know it
  via TEXT NOT NULL,              -- folder, http
  sha256 TEXT NOT NULL,
  size INTEGER NOT NULL,
  mtime_ms INTEGER NOT NULL,
  received_ms INTEGER NOT NULL,
  state TEXT NOT NULL,            -- taken, duplicate, set_aside, gone (set aside, then taken away)
  reason TEXT NOT NULL DEFAULT '',
  kept_as TEXT NOT NULL DEFAULT '', -- where the bytes are now; relative to archive or aside folder
  mapping_digest TEXT NOT NULL,   -- of the feed's settings it was read with
  fields_digest TEXT NOT NULL DEFAULT '', -- of those that make up the raw text of a row
  scope TEXT NOT NULL DEFAULT '', -- which file its rows belong to, where exports only append
  rows INTEGER NOT NULL DEFAULT 0,
  new_rows INTEGER NOT NULL DEFAULT 0,
  rejected INTEGER NOT NULL DEFAULT 0,
  superseded INTEGER NOT NULL DEFAULT 0,
  skipped INTEGER NOT NULL DEFAULT 0,
  ambiguous INTEGER NOT NULL DEFAULT 0,   -- local times that exist twice
  missing INTEGER NOT NULL DEFAULT 0,     -- local times that do not exist
  first_ms INTEGER,               -- of the rows
  last_ms INTEGER,
  cover_from_ms INTEGER,          -- the span in which silence means nothing happened
  cover_to_ms INTEGER
) STRICT;
-- "have we had these bytes?"
CREATE INDEX sources_hash ON sources (feed, sha256);
-- "have we had a file of this name?"
CREATE INDEX sources_name ON sources (feed, name);
-- "what covers this day?"
CREATE INDEX sources_cover ON sources (cover_from_ms, cover_to_ms) WHERE state = 'taken';
"""

_MOVEMENTS = """
CREATE TABLE movements (
  id INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,             -- ring, pour, reading, keg, log
  feed TEXT NOT NULL,
  ident BLOB NOT NULL,            -- digest of what makes the row that row (unrung.intake.identity)
  source INTEGER NOT NULL REFERENCES sources (id),
  line INTEGER NOT NULL,
  ref TEXT NOT NULL,
  version TEXT NOT NULL,
  raw TEXT NOT NULL,
  at_ms INTEGER,                  -- what the row counts by: ring, reading, event; end of a pour
  start_ms INTEGER,               -- of a pour
  end_ms INTEGER,                 -- of a log entry's span
  day TEXT,                       -- business day of an entry without a time
  at_text TEXT NOT NULL,
  what TEXT NOT NULL DEFAULT '',  -- kind of ring, kind of keg event, reason of a log entry
  outlet TEXT NOT NULL DEFAULT '',
  tap TEXT NOT NULL DEFAULT '',   -- tap or meter as the source has it
  product TEXT NOT NULL DEFAULT '',
  item TEXT NOT NULL DEFAULT '',
  size TEXT NOT NULL DEFAULT '',
  price_level TEXT NOT NULL DEFAULT '',
  modifier TEXT NOT NULL DEFAULT '',
  units_micro INTEGER,
  amount_minor INTEGER,
  tax_minor INTEGER,
  check_no TEXT NOT NULL DEFAULT '',
  terminal TEXT NOT NULL DEFAULT '',
  staff TEXT NOT NULL DEFAULT '',
  voided_ms INTEGER,
  voids_ref TEXT NOT NULL DEFAULT '',
  volume_ul INTEGER,
  pulses INTEGER,
  more TEXT,                      -- JSON: fields of keg events that nothing else has
  superseded_by INTEGER REFERENCES sources (id)  -- the export that replaced or dropped it
) STRICT;
-- "is this row known?", one current row per identity
CREATE UNIQUE INDEX movements_ident ON movements (ident) WHERE superseded_by IS NULL;
-- "the movements of these days"
CREATE INDEX movements_at ON movements (at_ms) WHERE superseded_by IS NULL;
-- "the rows that this export gave"
CREATE INDEX movements_source ON movements (source) WHERE superseded_by IS NULL;
-- "entries written down for a day without a time"
CREATE INDEX movements_day ON movements (day) WHERE superseded_by IS NULL AND day IS NOT NULL;
"""

_REJECTS = """
CREATE TABLE rejects (
  id INTEGER PRIMARY KEY,
  source INTEGER NOT NULL REFERENCES sources (id),
  feed TEXT NOT NULL,
  line INTEGER NOT NULL,
  field TEXT NOT NULL,
  value TEXT NOT NULL,
  reason TEXT NOT NULL,
  fix TEXT NOT NULL,
  cells TEXT NOT NULL,            -- JSON of the mapped cells only
  state TEXT NOT NULL DEFAULT 'waiting'   -- waiting, taken (read after a fix), accepted (left out)
) STRICT;
-- "how many rows wait?"
CREATE INDEX rejects_waiting ON rejects (feed) WHERE state = 'waiting';
CREATE INDEX rejects_source ON rejects (source);
"""

_DAYS = """
CREATE TABLE days (
  day TEXT PRIMARY KEY,           -- ISO business day
  dirty INTEGER NOT NULL,         -- 1: movements changed since it was computed
  changed_ms INTEGER NOT NULL,    -- when the last change came in
  revision INTEGER NOT NULL DEFAULT 0,    -- 0: never issued
  status TEXT NOT NULL DEFAULT '',
  digest TEXT NOT NULL DEFAULT '',        -- of the issued bytes without the revision
  config_digest TEXT NOT NULL DEFAULT '',
  issued_ms INTEGER
) STRICT;
-- "what has to be computed again?"
CREATE INDEX days_dirty ON days (day) WHERE dirty = 1;
CREATE TABLE leaves (
  day TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  window_start_ms INTEGER NOT NULL,
  window_minutes INTEGER NOT NULL,
  matched_portion INTEGER NOT NULL, over_portion INTEGER NOT NULL, under_portion INTEGER NOT NULL,
  size_difference INTEGER NOT NULL, logged INTEGER NOT NULL, poured_not_rung INTEGER NOT NULL,
  voided_after_pour INTEGER NOT NULL, rung_not_poured INTEGER NOT NULL,
  poured_not_compared INTEGER NOT NULL, rung_not_compared INTEGER NOT NULL,
  not_beer INTEGER NOT NULL, comp_volume INTEGER NOT NULL,
  serves INTEGER NOT NULL, units_rung_micro INTEGER NOT NULL, comp_units_micro INTEGER NOT NULL,
  net_sales_minor INTEGER NOT NULL,
  PRIMARY KEY (day, outlet, product, window_start_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE day_facts (
  day TEXT PRIMARY KEY,           -- ISO business day
  facts BLOB NOT NULL             -- zlib: serve by serve, what findings are drawn from
) STRICT;
CREATE TABLE issued (
  id INTEGER PRIMARY KEY,
  day TEXT NOT NULL,              -- business day, or period
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  sha256 TEXT NOT NULL,
  size INTEGER NOT NULL,
  config_digest TEXT NOT NULL,
  issued_ms INTEGER NOT NULL,
  UNIQUE (day, revision, name)
) STRICT;
"""

_MAIL = """
CREATE TABLE alerts (
  key TEXT PRIMARY KEY,           -- rule, outlet, product, window: stands open while it is here
  volume_ul INTEGER NOT NULL,     -- as last judged
  told_ul INTEGER NOT NULL,       -- as last told
  since_day TEXT NOT NULL
) STRICT;
CREATE TABLE outbox (
  id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE,       -- morning:DAY, alert:KEY: a mail is written down once
  kind TEXT NOT NULL,             -- morning, threshold, safety, clock, trial
  day TEXT NOT NULL,
  message_id TEXT NOT NULL,
  subject TEXT NOT NULL,
  body BLOB NOT NULL,
  created_ms INTEGER NOT NULL,
  state TEXT NOT NULL             -- waiting, sent, partly, refused, expired, folded
) STRICT;
CREATE TABLE outbox_recipients (
  outbox INTEGER NOT NULL REFERENCES outbox (id),
  recipient TEXT NOT NULL,
  state TEXT NOT NULL,            -- waiting, sent, refused, expired, folded
  attempts INTEGER NOT NULL DEFAULT 0,
  next_try_ms INTEGER NOT NULL,
  last_text TEXT NOT NULL DEFAULT '',
  PRIMARY KEY (outbox, recipient)
) STRICT, WITHOUT ROWID;
CREATE TABLE cursors (
  feed TEXT PRIMARY KEY,
  digest TEXT NOT NULL,           -- of the address, how it is asked, and how answers are read
  since_ms INTEGER,               -- greatest row time of complete polls, never after the poll itself
  run TEXT NOT NULL,              -- JSON of a poll under way: its span, its next page; '' where none is
  validators TEXT NOT NULL,       -- JSON: key of the request, ETag, Last-Modified; '' where none
  due_ms INTEGER NOT NULL,        -- next poll
  not_before_ms INTEGER NOT NULL, -- what the server wished (Retry-After)
  failures INTEGER NOT NULL,      -- in a row
  last_text TEXT NOT NULL,        -- what went wrong last; '' after a success
  polled_ms INTEGER,              -- last complete poll
  looked_back_ms INTEGER          -- last complete poll that asked far back
) STRICT;
CREATE TABLE poll_spans (
  feed TEXT NOT NULL,
  from_ms INTEGER NOT NULL,       -- what complete polls cover, joined where they touch
  to_ms INTEGER NOT NULL,
  PRIMARY KEY (feed, from_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE config_rows (
  id INTEGER PRIMARY KEY,
  tbl TEXT NOT NULL,              -- products, menu, taps
  row TEXT NOT NULL,              -- canonical JSON of the row as it stands in the table
  since TEXT NOT NULL,            -- first business day it applies to; '' from the beginning
  until TEXT NOT NULL             -- last one; '' still stands in the table
) STRICT;
CREATE TABLE facts (
  name TEXT PRIMARY KEY,          -- single values: first day of data, digests of the config
  value TEXT NOT NULL
) STRICT;
"""

_WAITING = """
-- when a clean day became dirty; how often it was changed, which no clock that is set back can hide
ALTER TABLE days ADD COLUMN dirty_since_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE days ADD COLUMN changes INTEGER NOT NULL DEFAULT 0;
"""

_IDENTITY = """
DROP INDEX movements_ident;
-- "is this row known?", one current row per identity: of rows with an id of their source, and without.
-- What comes together then stands together: by digest alone, each row of a year's store would touch a page.
CREATE UNIQUE INDEX movements_ref ON movements (feed, ref) WHERE superseded_by IS NULL AND ref <> '';
CREATE UNIQUE INDEX movements_ident ON movements (at_text, ident) WHERE superseded_by IS NULL AND ref = '';
"""

_OUTLINES = """
-- how often the day's own movements or settings changed, not only those of a day beside it
ALTER TABLE days ADD COLUMN own_changes INTEGER NOT NULL DEFAULT 0;
CREATE TABLE day_outlines (
  day TEXT PRIMARY KEY,           -- ISO business day, as it was computed last
  own_changes INTEGER NOT NULL,   -- of the day, when it was
  made_with TEXT NOT NULL,        -- digest of the config, and the program's version
  outline TEXT NOT NULL,          -- JSON: what of it lies nearest its edges
  seen TEXT NOT NULL,             -- JSON: what it saw of its neighbours; '' where they reach into it
  around TEXT NOT NULL            -- digest of all else that it saw beside its own movements
) STRICT;
-- "the movements of these days", those of one kind without a look at the others
DROP INDEX movements_at;
CREATE INDEX movements_at ON movements (at_ms, kind) WHERE superseded_by IS NULL;
"""

_DRAWN = """
-- what findings draw from the day alone: zlib over JSON
ALTER TABLE day_facts ADD COLUMN drawn BLOB NOT NULL DEFAULT x'';
-- of which facts, and by what: as it does not say so, it is drawn anew
ALTER TABLE day_facts ADD COLUMN drawn_of TEXT NOT NULL DEFAULT '';
"""


@migrations()
def m001_first_form(db: Database) -> None:
    for script in (_SOURCES, _MOVEMENTS, _REJECTS, _DAYS, _MAIL, MONTHS):
        for statement in statements(script):
            db.execute(statement)


@migrations()
def m002_how_long_a_day_waits(db: Database) -> None:
    for statement in statements(_WAITING):
        db.execute(statement)


@migrations()
def m003_rows_that_come_together_stand_together(db: Database) -> None:
    for statement in statements(_IDENTITY):
        db.execute(statement)


@migrations()
def m004_days_in_outline(db: Database) -> None:
    for statement in statements(_OUTLINES):
        db.execute(statement)


@migrations()
def m005_what_findings_draw_from_a_day(db: Database) -> None:
    for statement in statements(_DRAWN):
        db.execute(statement)


def statements(script: str) -> list[str]:
    """The statements of ``script``, one by one: executescript would end the transaction."""
    lines = (line.split("--")[0].rstrip() for line in script.splitlines())
    return [part.strip() for part in "\n".join(lines).split(";") if part.strip()]


NEWEST = 5
"""PRAGMA user_version of a store with every migration applied."""
