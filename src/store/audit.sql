-- The audit chain: each row that is never changed gets a link when it is committed, so that a figure that changed by
-- itself, or by another program, is found. `link` = SHA-256 of the link before it (32 zero bytes before the first), the
-- name of the table, the row's number, the row (see below) and `flags`.
--
-- A row as bytes: for each column that is not null, in order of their names, the name, a letter for its kind and its
-- length and bytes (numbers: 8 bytes, little-endian). A run's row goes with its blows, gates and battery, a
-- recomputation with its blows, gates and flags. A column that comes later and is null changes no link.
CREATE TABLE audit (
    id      INTEGER PRIMARY KEY,
    subject TEXT NOT NULL,
    row     INTEGER NOT NULL,
    -- Of a run and of its closing: the flags the run had then, a JSON array in order.
    flags   TEXT CHECK (flags IS NULL OR json_valid(flags)),
    link    BLOB NOT NULL CHECK (length(link) = 32)
) STRICT;

-- SHA-256 of a run's codes, as in `tombstones`, made when its samples are complete; runs of older versions have none.
CREATE TABLE sample_digests (
    run    INTEGER PRIMARY KEY REFERENCES runs (id),
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64)
) STRICT;
INSERT INTO meta (key, value)
SELECT 'runs_without_sample_digest', CAST(COALESCE(MAX(id), 0) AS TEXT) FROM runs;
