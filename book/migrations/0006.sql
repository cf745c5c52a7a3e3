-- What people wrote down for application records. A later line of the same scope,
-- name, day and element takes the place of an earlier one; both stay.

CREATE TABLE paper (
  id       INTEGER PRIMARY KEY,
  at       INTEGER NOT NULL,
  scope    TEXT NOT NULL,           -- record, product, all
  of       TEXT NOT NULL,           -- id of the record, or name of the product; empty: all
  from_day TEXT NOT NULL,           -- of product and all: the first local day that it holds for
  element  TEXT NOT NULL,
  value    TEXT NOT NULL,           -- empty: taken back
  who      TEXT NOT NULL
) STRICT;

CREATE TRIGGER paper_keep BEFORE UPDATE ON paper BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER paper_hold BEFORE DELETE ON paper BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
