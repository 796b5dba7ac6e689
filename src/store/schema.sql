-- Schema version 1 of the store. Applied in one transaction; later versions add files of their own.
-- Wall times are nanoseconds since 1970 UTC (`..._utc_ns`); tensions are above the zero of their run.
-- Rows are never changed: the triggers at the end refuse it. Exceptions: `blocks` (packed anew, bit for
-- bit the same, when a run's samples are complete), `open_runs` (scratch) and `flags` (a list of words).

CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

-- The one table of flags, as the program that last opened the store has it.
CREATE TABLE flags (
    flag       TEXT PRIMARY KEY,
    leaves_out INTEGER NOT NULL CHECK (leaves_out IN (0, 1)),
    words      TEXT NOT NULL
) STRICT;

CREATE TABLE rigs (
    rig TEXT PRIMARY KEY
) STRICT;

-- One pipeline from its start to its end; sample 0 of a stream is its first sample.
CREATE TABLE streams (
    id             INTEGER PRIMARY KEY,
    rig            TEXT NOT NULL REFERENCES rigs (rig),
    started_utc_ns INTEGER NOT NULL,
    settings       TEXT NOT NULL CHECK (json_valid(settings))
) STRICT;

CREATE TABLE identities (
    id         INTEGER PRIMARY KEY,
    stream     INTEGER NOT NULL REFERENCES streams (id),
    utc_ns     INTEGER NOT NULL,
    serial     TEXT NOT NULL,
    firmware   TEXT NOT NULL,
    time_scale INTEGER NOT NULL CHECK (time_scale >= 1)
) STRICT;
CREATE INDEX identities_by_stream ON identities (stream);

-- What people told the rigs.
CREATE TABLE commands (
    id      INTEGER PRIMARY KEY,
    rig     TEXT NOT NULL REFERENCES rigs (rig),
    utc_ns  INTEGER NOT NULL,
    who     TEXT NOT NULL,
    kind    TEXT NOT NULL,
    command TEXT NOT NULL CHECK (json_valid(command))
) STRICT;
CREATE INDEX commands_by_rig ON commands (rig, kind, id);

CREATE TABLE zeros (
    id      INTEGER PRIMARY KEY,
    rig     TEXT NOT NULL REFERENCES rigs (rig),
    utc_ns  INTEGER NOT NULL,
    zero_kN REAL NOT NULL
) STRICT;
CREATE INDEX zeros_by_rig ON zeros (rig, id);

-- Pieces, setups, tools, sources and bolts: every version a row; a null document takes it off.
CREATE TABLE shelf (
    id       INTEGER PRIMARY KEY,
    kind     TEXT NOT NULL CHECK (kind IN ('pieces', 'setups', 'tools', 'sources', 'bolts')),
    name     TEXT NOT NULL,
    utc_ns   INTEGER NOT NULL,
    who      TEXT NOT NULL,
    why      TEXT,
    document TEXT CHECK (document IS NULL OR json_valid(document))
) STRICT;
CREATE INDEX shelf_by_name ON shelf (kind, name, id);

-- One row a run, made at its announcement. `result` is the whole of it, exact; the columns are for
-- looking at it with any client.
CREATE TABLE runs (
    id                  INTEGER PRIMARY KEY,
    rig                 TEXT NOT NULL REFERENCES rigs (rig),
    rig_run             INTEGER NOT NULL,
    stream              INTEGER NOT NULL REFERENCES streams (id),
    run_seq             INTEGER NOT NULL,
    first_blow_utc_ns   INTEGER NOT NULL,
    setup               TEXT,
    contacts            INTEGER,
    tool                TEXT,
    bolt                TEXT,
    calibration         TEXT NOT NULL,
    rate_hz             REAL NOT NULL,
    timing              TEXT NOT NULL,
    zero_kN             REAL NOT NULL,
    zero_shift_kN       REAL NOT NULL,
    noise_kN            REAL NOT NULL,
    first_blow_s        REAL NOT NULL,
    last_blow_s         REAL NOT NULL,
    drive_time_s        REAL NOT NULL,
    blows               INTEGER,
    blow_rate_hz        REAL,
    ringing_kN          REAL,
    peak_kN             REAL NOT NULL,
    peak_time_s         REAL NOT NULL,
    peak_is_lower_bound INTEGER NOT NULL CHECK (peak_is_lower_bound IN (0, 1)),
    level_kN            REAL,
    held_kN             REAL,
    held_Nm             REAL,
    peak_Nm             REAL,
    plateau_kN          REAL,
    plateau_se_kN       REAL,
    plateau_Nm          REAL,
    time_constant_s     REAL,
    time_constant_se_s  REAL,
    spikes              INTEGER NOT NULL,
    missing             INTEGER NOT NULL,
    clipped             INTEGER NOT NULL,
    result              TEXT NOT NULL CHECK (json_valid(result)),
    UNIQUE (rig, rig_run),
    UNIQUE (stream, run_seq)
) STRICT;
CREATE INDEX runs_by_setup ON runs (setup, id);
CREATE INDEX runs_by_tool ON runs (tool, id);
CREATE INDEX runs_by_time ON runs (first_blow_utc_ns);

CREATE TABLE blows (
    run      INTEGER NOT NULL REFERENCES runs (id),
    blow     INTEGER NOT NULL,
    at_s     REAL NOT NULL,
    level_kN REAL NOT NULL,
    PRIMARY KEY (run, blow)
) STRICT, WITHOUT ROWID;

CREATE TABLE gates (
    run        INTEGER NOT NULL REFERENCES runs (id),
    gate       INTEGER NOT NULL,
    after_s    REAL NOT NULL,
    tension_kN REAL,
    torque_Nm  REAL,
    PRIMARY KEY (run, gate)
) STRICT, WITHOUT ROWID;

-- Flags of the announcement and of the closing.
CREATE TABLE run_flags (
    run  INTEGER NOT NULL REFERENCES runs (id),
    flag TEXT NOT NULL,
    PRIMARY KEY (run, flag)
) STRICT, WITHOUT ROWID;

-- The second row of a run.
CREATE TABLE closings (
    run                INTEGER PRIMARY KEY REFERENCES runs (id),
    closed_s           REAL NOT NULL,
    reason             TEXT NOT NULL,
    re_pulled          INTEGER NOT NULL CHECK (re_pulled IN (0, 1)),
    re_pulled_level_kN REAL,
    closing            TEXT NOT NULL CHECK (json_valid(closing))
) STRICT;

-- What people said about runs afterwards.
CREATE TABLE corrections (
    id       INTEGER PRIMARY KEY,
    run      INTEGER NOT NULL REFERENCES runs (id),
    utc_ns   INTEGER NOT NULL,
    who      TEXT NOT NULL,
    why      TEXT NOT NULL,
    kind     TEXT NOT NULL CHECK (kind IN ('tag', 'exclude', 'restore')),
    -- What a restore undoes: an exclusion, or what the run's flags say.
    lifts    TEXT CHECK (lifts IN ('exclusion', 'flags')),
    setup    TEXT,
    contacts INTEGER,
    tool     TEXT,
    CHECK ((kind = 'restore') = (lifts IS NOT NULL))
) STRICT;
CREATE INDEX corrections_by_run ON corrections (run, id);
CREATE INDEX corrections_by_setup ON corrections (setup) WHERE setup IS NOT NULL;
CREATE INDEX corrections_by_tool ON corrections (tool) WHERE tool IS NOT NULL;

-- Raw codes of runs: `counts` is `samples` 32-bit codes compressed with pco, `crc32` is of those bytes (the
-- packing has no sum of its own); `missing` is JSON [[offset, samples], ...].
CREATE TABLE blocks (
    id           INTEGER PRIMARY KEY,
    stream       INTEGER NOT NULL REFERENCES streams (id),
    run_seq      INTEGER NOT NULL,
    first_sample INTEGER NOT NULL,
    samples      INTEGER NOT NULL CHECK (samples > 0),
    counts       BLOB NOT NULL,
    crc32        INTEGER NOT NULL,
    missing      TEXT NOT NULL CHECK (json_valid(missing)),
    UNIQUE (stream, run_seq, first_sample)
) STRICT;

-- Idle time: min, max and mean of each point, compressed with pco (codes; means as 32-bit floats).
CREATE TABLE idle_blocks (
    id                INTEGER PRIMARY KEY,
    stream            INTEGER NOT NULL REFERENCES streams (id),
    utc_ns            INTEGER NOT NULL,
    first_sample      INTEGER NOT NULL,
    rate_hz           REAL NOT NULL,
    samples_per_point INTEGER NOT NULL CHECK (samples_per_point > 0),
    points            INTEGER NOT NULL,
    minima            BLOB NOT NULL,
    maxima            BLOB NOT NULL,
    means             BLOB NOT NULL
) STRICT;
CREATE INDEX idle_blocks_by_stream ON idle_blocks (stream, first_sample);

-- Scratch: runs whose samples or closing row are still awaited.
CREATE TABLE open_runs (
    stream       INTEGER NOT NULL REFERENCES streams (id),
    run_seq      INTEGER NOT NULL,
    utc_ns       INTEGER NOT NULL,
    first_sample INTEGER NOT NULL,
    rate_hz      REAL NOT NULL,
    in_force     TEXT NOT NULL CHECK (json_valid(in_force)),
    ended        INTEGER NOT NULL DEFAULT 0,
    closed       INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (stream, run_seq)
) STRICT;

CREATE TABLE events (
    id     INTEGER PRIMARY KEY,
    rig    TEXT REFERENCES rigs (rig),
    utc_ns INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    detail TEXT NOT NULL
) STRICT;

-- The tags in force at each rig: its latest `use`.
CREATE VIEW in_force AS
SELECT rig, utc_ns, who, json_extract(command, '$.in_force') AS in_force
FROM commands
WHERE id IN (SELECT MAX(id) FROM commands WHERE kind = 'use' GROUP BY rig);

-- What stands on the shelf now.
CREATE VIEW shelf_now AS
SELECT kind, name, utc_ns, who, document
FROM shelf
WHERE id IN (SELECT MAX(id) FROM shelf GROUP BY kind, name) AND document IS NOT NULL;

-- Runs with the latest tags, before it is decided which of them count.
CREATE VIEW runs_tagged AS
SELECT
    r.*,
    COALESCE((SELECT c.setup FROM corrections c
              WHERE c.run = r.id AND c.setup IS NOT NULL ORDER BY c.id DESC LIMIT 1), r.setup) AS setup_now,
    COALESCE((SELECT c.tool FROM corrections c
              WHERE c.run = r.id AND c.tool IS NOT NULL ORDER BY c.id DESC LIMIT 1), r.tool) AS tool_now,
    -- Contacts belong to a setup: another setup without a count makes them unknown.
    CASE WHEN EXISTS (SELECT 1 FROM corrections c WHERE c.run = r.id AND c.setup IS NOT NULL)
         THEN (SELECT c.contacts FROM corrections c
               WHERE c.run = r.id AND c.setup IS NOT NULL ORDER BY c.id DESC LIMIT 1)
         ELSE r.contacts END AS contacts_now,
    (SELECT c.id FROM corrections c
     WHERE c.run = r.id AND c.kind <> 'tag' ORDER BY c.id DESC LIMIT 1) AS verdict
FROM runs r;

-- The flags that leave a run out. A setup named afterwards answers `untagged` and `setup-changed`.
CREATE VIEW run_left_out_by_flag AS
SELECT rf.run, rf.flag
FROM run_flags rf JOIN flags f ON f.flag = rf.flag AND f.leaves_out = 1
WHERE NOT (rf.flag IN ('untagged', 'setup-changed')
           AND EXISTS (SELECT 1 FROM corrections c WHERE c.run = rf.run AND c.setup IS NOT NULL));

-- The results: one row a run, with the latest tags and whether it counts. `flags` and
-- `left_out_because` are JSON arrays; a run is `excluded` where the latter is not empty: by flags, or by a
-- person. A restore undoes the exclusion; where there was none it lifts what the flags say.
CREATE VIEW run_results AS
SELECT
    id, rig, rig_run, first_blow_utc_ns,
    strftime('%Y-%m-%dT%H:%M:%S', first_blow_utc_ns / 1000000000, 'unixepoch')
        || printf('.%03dZ', first_blow_utc_ns / 1000000 % 1000) AS first_blow_utc,
    setup, contacts, tool, bolt, calibration, rate_hz, timing, zero_shift_kN, noise_kN,
    first_blow_s, last_blow_s, drive_time_s, blows, blow_rate_hz,
    peak_kN, peak_time_s, peak_is_lower_bound, level_kN, held_kN,
    plateau_kN, plateau_se_kN, time_constant_s, time_constant_se_s,
    held_Nm AS equivalent_torque_held_Nm,
    peak_Nm AS equivalent_torque_peak_Nm,
    plateau_Nm AS equivalent_torque_plateau_Nm,
    closed_by, re_pulled, re_pulled_level_kN, simulated,
    flags, left_out_because, json_array_length(left_out_because) > 0 AS excluded,
    stream, run_seq
FROM (
    SELECT
        t.id, t.rig, t.rig_run, t.first_blow_utc_ns,
        t.setup_now AS setup, t.contacts_now AS contacts, t.tool_now AS tool, t.bolt, t.calibration,
        t.rate_hz, t.timing, t.zero_shift_kN, t.noise_kN,
        t.first_blow_s, t.last_blow_s, t.drive_time_s, t.blows, t.blow_rate_hz,
        t.peak_kN, t.peak_time_s, t.peak_is_lower_bound, t.level_kN, t.held_kN,
        t.plateau_kN, t.plateau_se_kN, t.time_constant_s, t.time_constant_se_s,
        t.held_Nm, t.peak_Nm, t.plateau_Nm,
        c.reason AS closed_by, c.re_pulled, c.re_pulled_level_kN,
        COALESCE((SELECT i.time_scale <> 1 FROM identities i
                  WHERE i.stream = t.stream ORDER BY i.id DESC LIMIT 1), 0) AS simulated,
        (SELECT json_group_array(flag)
         FROM (SELECT flag FROM run_flags WHERE run = t.id ORDER BY flag)) AS flags,
        (SELECT json_group_array(reason) FROM (
            SELECT 'excluded by ' || v.who || ': ' || v.why AS reason WHERE v.kind = 'exclude'
            UNION ALL
            SELECT flag FROM run_left_out_by_flag
            WHERE run = t.id AND (v.lifts IS NULL OR v.lifts <> 'flags'))) AS left_out_because,
        t.stream, t.run_seq
    FROM runs_tagged t
    LEFT JOIN corrections v ON v.id = t.verdict
    LEFT JOIN closings c ON c.run = t.id
);

-- Runs are numbered from 1 without gaps, in the store and at each rig.
CREATE TRIGGER runs_are_numbered_without_gaps BEFORE INSERT ON runs
WHEN NEW.id <> (SELECT COALESCE(MAX(id), 0) + 1 FROM runs)
  OR NEW.rig_run <> (SELECT COALESCE(MAX(rig_run), 0) + 1 FROM runs WHERE rig = NEW.rig)
BEGIN SELECT RAISE(ABORT, 'runs are numbered without gaps'); END;
