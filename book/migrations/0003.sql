-- A note that was several lines: each but the first names the first, whose
-- number is that of the note.

ALTER TABLE journal ADD COLUMN part_of INTEGER REFERENCES journal(id);  -- null: the first or only line
