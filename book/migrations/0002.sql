-- Notes by hand: the words as they were typed, the line of the journal that a
-- count stands beside, and lines that were taken back.

ALTER TABLE journal ADD COLUMN words TEXT NOT NULL DEFAULT '';  -- empty: not typed
ALTER TABLE counts ADD COLUMN journal INTEGER REFERENCES journal(id);

CREATE TABLE taken_back (          -- lines of the journal that hold no more
  journal INTEGER PRIMARY KEY REFERENCES journal(id),
  at      INTEGER NOT NULL
) STRICT;

CREATE TRIGGER taken_back_keep BEFORE UPDATE ON taken_back BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER taken_back_hold BEFORE DELETE ON taken_back BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
