-- What cannot be derived. Every table is append-only: a later line stands for
-- what holds now, an earlier one for what held then. Times are microseconds
-- since 1970-01-01T00:00:00Z; "at" is when the line was written.

CREATE TABLE inputs (              -- what was handed to one read: a folder, a zip or a file
  id    INTEGER PRIMARY KEY,
  at    INTEGER NOT NULL,
  name  TEXT NOT NULL,             -- last part of its path
  kind  TEXT NOT NULL              -- folder, zip, file
) STRICT;

CREATE TABLE files (               -- the files of an input; their bytes are originals/aa/<sha256>
  input  INTEGER NOT NULL REFERENCES inputs(id),
  path   TEXT NOT NULL,            -- inside the input, with slashes
  sha256 TEXT NOT NULL,
  size   INTEGER NOT NULL,
  data   INTEGER NOT NULL,         -- 1: a log; 0: stands beside one and explains it
  PRIMARY KEY (input, path)
) STRICT;
CREATE INDEX files_by_hash ON files (sha256);

CREATE TABLE retired (             -- inputs of which a newer one holds everything
  input INTEGER PRIMARY KEY REFERENCES inputs(id),
  at    INTEGER NOT NULL,
  by    INTEGER NOT NULL REFERENCES inputs(id)
) STRICT;

CREATE TABLE imports (             -- the files of each source, and what time they cover
  id         INTEGER PRIMARY KEY,
  at         INTEGER NOT NULL,
  input      INTEGER NOT NULL REFERENCES inputs(id),
  source     TEXT NOT NULL,
  format     TEXT NOT NULL,
  file       TEXT NOT NULL,
  sha256     TEXT NOT NULL,
  size       INTEGER NOT NULL,
  first_us   INTEGER,              -- of the source; null: nothing with a time was in it
  last_us    INTEGER,
  supersedes INTEGER REFERENCES imports(id) -- the shorter form of the same file
) STRICT;
CREATE INDEX imports_by_input ON imports (input);

CREATE TABLE journal (             -- what people wrote down in the program
  id      INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,
  planter TEXT NOT NULL,
  t_us    INTEGER NOT NULL,
  what    TEXT NOT NULL,           -- setting, refill, fix, remark, count, dig, lot
  rows    TEXT NOT NULL,           -- "1-8,12"; empty: the whole machine
  value   REAL,
  unit    TEXT NOT NULL,
  note    TEXT NOT NULL
) STRICT;

CREATE TABLE decisions (           -- what people decided about findings
  id      INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,
  t_us    INTEGER NOT NULL,
  finding TEXT NOT NULL,
  status  TEXT NOT NULL,           -- acted, set-aside, open (taken back)
  cause   TEXT NOT NULL,
  note    TEXT NOT NULL,
  who     TEXT NOT NULL,
  shown   TEXT NOT NULL            -- the finding as it stood, JSON
) STRICT;
CREATE INDEX decisions_by_finding ON decisions (finding);

CREATE TABLE counts (              -- stands and digs counted on foot
  id      INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,
  planter TEXT NOT NULL,
  field   TEXT NOT NULL,
  t_us    INTEGER NOT NULL,
  rows    TEXT NOT NULL,
  lat     REAL, lon REAL,          -- degrees, WGS 84
  what    TEXT NOT NULL,
  value   REAL NOT NULL,
  unit    TEXT NOT NULL,
  note    TEXT NOT NULL
) STRICT;

CREATE TABLE versions (            -- every version of book.toml, cards, fields and recipes
  id         INTEGER PRIMARY KEY,
  at         INTEGER NOT NULL,
  kind       TEXT NOT NULL,        -- settings, card, field, recipe
  name       TEXT NOT NULL,        -- the file's name
  valid_from TEXT NOT NULL,        -- first local day it holds for; empty: for all
  sha256     TEXT NOT NULL,
  body       BLOB                  -- null: the file was removed
) STRICT;
CREATE INDEX versions_by_name ON versions (kind, name);

CREATE TABLE overrides (           -- where a person knows better than the logs
  id      INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,
  planter TEXT NOT NULL,
  day     TEXT NOT NULL,
  what    TEXT NOT NULL,
  value   TEXT NOT NULL,
  note    TEXT NOT NULL
) STRICT;

CREATE TABLE finding_ids (         -- ids given out, and what each last stood for
  seq      INTEGER PRIMARY KEY,
  id       TEXT NOT NULL,
  planter  TEXT NOT NULL,
  day      TEXT NOT NULL,
  family   TEXT NOT NULL,
  kind     TEXT NOT NULL,
  rows     TEXT NOT NULL,
  since_us INTEGER NOT NULL,
  until_us INTEGER,                -- null: it goes on
  alarm_us INTEGER NOT NULL
) STRICT;
CREATE INDEX finding_ids_by_day ON finding_ids (planter, day);

CREATE TRIGGER inputs_keep      BEFORE UPDATE ON inputs      BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER inputs_hold      BEFORE DELETE ON inputs      BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER files_keep       BEFORE UPDATE ON files       BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER files_hold       BEFORE DELETE ON files       BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER retired_keep     BEFORE UPDATE ON retired     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER retired_hold     BEFORE DELETE ON retired     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER imports_keep     BEFORE UPDATE ON imports     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER imports_hold     BEFORE DELETE ON imports     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER journal_keep     BEFORE UPDATE ON journal     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER journal_hold     BEFORE DELETE ON journal     BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER decisions_keep   BEFORE UPDATE ON decisions   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER decisions_hold   BEFORE DELETE ON decisions   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER counts_keep      BEFORE UPDATE ON counts      BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER counts_hold      BEFORE DELETE ON counts      BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER versions_keep    BEFORE UPDATE ON versions    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER versions_hold    BEFORE DELETE ON versions    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER overrides_keep   BEFORE UPDATE ON overrides   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER overrides_hold   BEFORE DELETE ON overrides   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER finding_ids_keep BEFORE UPDATE ON finding_ids BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER finding_ids_hold BEFORE DELETE ON finding_ids BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
