-- What the next start of the program needs to know; both are scratch, changed as time goes on.

-- What an open run begins from (zero, threshold, crossing...), so that recovery takes up this run and not
-- another one whose samples fell into its look-back. Null: an older program opened it.
ALTER TABLE open_runs ADD COLUMN opening TEXT CHECK (opening IS NULL OR json_valid(opening));

-- Where a rig's idle reading was last seen, as a raw code, so that it holds whatever the calibration.
CREATE TABLE rests (
    rig    TEXT PRIMARY KEY REFERENCES rigs (rig),
    utc_ns INTEGER NOT NULL,
    code   REAL NOT NULL
) STRICT, WITHOUT ROWID;
