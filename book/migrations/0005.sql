-- Plants counted on foot at a place, and depths dug there. A later line that
-- replaces one takes its place; both stay. The number is the counter's own, so
-- that what is sent twice stands once.

CREATE TABLE stand_counts (
  id        TEXT PRIMARY KEY,
  received  INTEGER NOT NULL,
  at        INTEGER NOT NULL,      -- when it was counted
  planter   TEXT NOT NULL,
  field     TEXT NOT NULL,
  place     TEXT NOT NULL,         -- in words
  lat       REAL, lon REAL,        -- degrees, WGS 84
  method    TEXT NOT NULL,         -- row, hoop
  rows      TEXT NOT NULL,
  length_m  REAL, rows_counted INTEGER,
  diameter_m REAL, hoops INTEGER,
  plants    INTEGER,
  late      INTEGER,
  depths_m  TEXT NOT NULL,         -- a JSON list
  note      TEXT NOT NULL,
  who       TEXT NOT NULL,
  replaces  TEXT NOT NULL          -- id; empty: none
) STRICT;

CREATE TRIGGER stand_counts_keep BEFORE UPDATE ON stand_counts BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER stand_counts_hold BEFORE DELETE ON stand_counts BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
