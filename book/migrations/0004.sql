-- Notes that were corrected: the lines of a later version name the note that they
-- stand for from then on; the version of the highest id holds.

ALTER TABLE journal ADD COLUMN edit_of INTEGER REFERENCES journal(id);  -- null: the note as it was written first
