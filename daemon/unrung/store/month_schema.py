"""Tables of the periods' books; part of the first migration."""

from __future__ import annotations

MONTHS = """
CREATE TABLE product_days (       -- what a day's ledger says of a product beside its leaves
  day TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  low_ul INTEGER NOT NULL,
  high_ul INTEGER NOT NULL,
  cost_per_litre TEXT NOT NULL,   -- minor units, every digit; '' not known
  retail_per_litre TEXT NOT NULL,
  PRIMARY KEY (day, outlet, product)
) STRICT, WITHOUT ROWID;
CREATE TABLE logged_days (
  day TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  reason TEXT NOT NULL,
  entries INTEGER NOT NULL,
  said_ul INTEGER NOT NULL,
  explained_ul INTEGER NOT NULL,
  without_pour_ul INTEGER NOT NULL,
  PRIMARY KEY (day, outlet, product, reason)
) STRICT, WITHOUT ROWID;
CREATE TABLE tap_spans (          -- what ran through a line between two keg events
  day TEXT NOT NULL,
  line TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL,
  beer_ul INTEGER NOT NULL,
  rung_ul INTEGER NOT NULL,
  logged_ul INTEGER NOT NULL,
  not_beer_ul INTEGER NOT NULL,
  PRIMARY KEY (day, line, outlet, product, from_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE months (
  period TEXT PRIMARY KEY,        -- 2026-11, 2026-P03
  first_day TEXT NOT NULL,
  last_day TEXT NOT NULL,
  dirty INTEGER NOT NULL,         -- 1: one of its days was computed since
  revision INTEGER NOT NULL DEFAULT 0,
  status TEXT NOT NULL DEFAULT '',
  digest TEXT NOT NULL DEFAULT '',
  config_digest TEXT NOT NULL DEFAULT '',
  issued_ms INTEGER,
  closed_ms INTEGER,
  refused_ms INTEGER NOT NULL DEFAULT 0, -- when some of its files last could not take their place
  books TEXT NOT NULL DEFAULT '{}',     -- JSON: closing stock by place, and what it is made of
  accepted TEXT NOT NULL DEFAULT '[]'   -- JSON: what stood open when it was closed all the same
) STRICT;
CREATE TABLE closed_files (       -- a closed period can always be put back as it was
  period TEXT NOT NULL,
  name TEXT NOT NULL,
  content BLOB NOT NULL,
  PRIMARY KEY (period, name)
) STRICT;
CREATE TABLE judged (             -- closed days as last judged, for what comes later
  day TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  figures TEXT NOT NULL,          -- JSON: figure to digits, as issued and adjusted
  made TEXT NOT NULL,             -- JSON: the same as last made; differs where an edge was sealed
  PRIMARY KEY (day, outlet, product)
) STRICT, WITHOUT ROWID;
CREATE TABLE adjustments (
  id INTEGER PRIMARY KEY,
  period TEXT NOT NULL,           -- the open period that carries it
  origin_period TEXT NOT NULL,
  origin_day TEXT NOT NULL,
  outlet TEXT NOT NULL,
  product TEXT NOT NULL,
  figure TEXT NOT NULL,
  unit TEXT NOT NULL,
  old TEXT NOT NULL,
  new TEXT NOT NULL,
  cause TEXT NOT NULL,
  source_file TEXT NOT NULL,
  written_ms INTEGER NOT NULL
) STRICT;
-- "what does this period carry?"
CREATE INDEX adjustments_period ON adjustments (period);
CREATE TABLE sealed_units (       -- ring units that cross the edge after a closed period's last day
  day TEXT NOT NULL,              -- that last day
  unit INTEGER NOT NULL,          -- key of the ring unit
  goes_to TEXT NOT NULL,          -- early: to that day; late: to the next one
  PRIMARY KEY (day, unit)
) STRICT, WITHOUT ROWID;
"""
