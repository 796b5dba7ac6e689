-- Keeping the store: runs measured again, pruned samples, and how often each thing was used.
-- Rows are never changed; a run measured again is a new row, and the views below show the newest.

-- A run measured again from its stored codes. `result` is the whole of it, exact, as in `runs`;
-- `settings` and `line` are what it was measured with. What people said of the run stays with the run.
CREATE TABLE recomputations (
    id                  INTEGER PRIMARY KEY,
    run                 INTEGER NOT NULL REFERENCES runs (id),
    utc_ns              INTEGER NOT NULL,
    who                 TEXT NOT NULL,
    why                 TEXT NOT NULL,
    program             TEXT NOT NULL,
    settings            TEXT NOT NULL CHECK (json_valid(settings)),
    line                TEXT NOT NULL CHECK (json_valid(line)),
    calibration         TEXT NOT NULL,
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
    result              TEXT NOT NULL CHECK (json_valid(result))
) STRICT;
CREATE INDEX recomputations_by_run ON recomputations (run, id);

CREATE TABLE recomputed_blows (
    recomputation INTEGER NOT NULL REFERENCES recomputations (id),
    blow          INTEGER NOT NULL,
    at_s          REAL NOT NULL,
    level_kN      REAL NOT NULL,
    PRIMARY KEY (recomputation, blow)
) STRICT, WITHOUT ROWID;

CREATE TABLE recomputed_gates (
    recomputation INTEGER NOT NULL REFERENCES recomputations (id),
    gate          INTEGER NOT NULL,
    after_s       REAL NOT NULL,
    tension_kN    REAL,
    torque_Nm     REAL,
    PRIMARY KEY (recomputation, gate)
) STRICT, WITHOUT ROWID;

-- Flags of the measuring; those of the closing are in `run_flags`, and stay in force.
CREATE TABLE recomputed_flags (
    recomputation INTEGER NOT NULL REFERENCES recomputations (id),
    flag          TEXT NOT NULL,
    PRIMARY KEY (recomputation, flag)
) STRICT, WITHOUT ROWID;

-- Each pruning, and for each run that lost its samples the SHA-256 of what was there: for every stretch
-- without a hole its first sample and its length (64 bits), the codes (32 bits), the number of gaps and for
-- each gap offset and length (32 bits), all little-endian.
CREATE TABLE prunings (
    id            INTEGER PRIMARY KEY,
    utc_ns        INTEGER NOT NULL,
    who           TEXT NOT NULL,
    why           TEXT NOT NULL,
    before_utc_ns INTEGER NOT NULL
) STRICT;

CREATE TABLE tombstones (
    run          INTEGER PRIMARY KEY REFERENCES runs (id),
    pruning      INTEGER NOT NULL REFERENCES prunings (id),
    first_sample INTEGER NOT NULL,
    samples      INTEGER NOT NULL CHECK (samples > 0),
    bytes        INTEGER NOT NULL,
    sha256       TEXT NOT NULL CHECK (length(sha256) = 64)
) STRICT;

-- Idle time that was pruned: one row a pruning and stream, written in parts.
CREATE TABLE idle_tombstones (
    id           INTEGER PRIMARY KEY,
    pruning      INTEGER NOT NULL REFERENCES prunings (id),
    stream       INTEGER NOT NULL REFERENCES streams (id),
    from_utc_ns  INTEGER NOT NULL,
    until_utc_ns INTEGER NOT NULL,
    blocks       INTEGER NOT NULL CHECK (blocks > 0),
    points       INTEGER NOT NULL,
    bytes        INTEGER NOT NULL
) STRICT;
CREATE INDEX idle_blocks_by_time ON idle_blocks (utc_ns);

CREATE INDEX events_by_kind ON events (kind, id);

-- How often each thing was used is counted in indexes, without reading a run.
DROP INDEX runs_by_tool;
CREATE INDEX runs_by_tool ON runs (tool, id, first_blow_utc_ns);
CREATE INDEX runs_by_setup_time ON runs (setup, first_blow_utc_ns) WHERE setup IS NOT NULL;
CREATE INDEX runs_by_bolt ON runs (bolt, first_blow_utc_ns) WHERE bolt IS NOT NULL;
CREATE INDEX closings_re_pulled ON closings (run) WHERE re_pulled = 1;

-- The battery of each run, taken out of its document as it is stored: an index on the document itself would
-- be read together with the document.
CREATE TABLE run_sources (
    source            TEXT NOT NULL,
    first_blow_utc_ns INTEGER NOT NULL,
    run               INTEGER NOT NULL REFERENCES runs (id),
    PRIMARY KEY (source, first_blow_utc_ns, run)
) STRICT, WITHOUT ROWID;
INSERT INTO run_sources
SELECT json_extract(result, '$.in_force.source.id'), first_blow_utc_ns, id FROM runs
WHERE json_extract(result, '$.in_force.source.id') IS NOT NULL;
CREATE TRIGGER runs_name_their_source AFTER INSERT ON runs
WHEN json_extract(NEW.result, '$.in_force.source.id') IS NOT NULL
BEGIN
    INSERT INTO run_sources
    VALUES (json_extract(NEW.result, '$.in_force.source.id'), NEW.first_blow_utc_ns, NEW.id);
END;

DROP VIEW run_left_out_by_flag;

-- Runs with their newest measures; `recomputation` is null where that is the announcement.
CREATE VIEW runs_measured AS
SELECT
    r.id, r.rig, r.rig_run, r.stream, r.run_seq, r.first_blow_utc_ns, r.setup, r.contacts, r.tool, r.bolt,
    r.rate_hz, r.timing,
    CASE WHEN n.id IS NULL THEN r.calibration ELSE n.calibration END AS calibration,
    CASE WHEN n.id IS NULL THEN r.zero_kN ELSE n.zero_kN END AS zero_kN,
    CASE WHEN n.id IS NULL THEN r.zero_shift_kN ELSE n.zero_shift_kN END AS zero_shift_kN,
    CASE WHEN n.id IS NULL THEN r.noise_kN ELSE n.noise_kN END AS noise_kN,
    CASE WHEN n.id IS NULL THEN r.first_blow_s ELSE n.first_blow_s END AS first_blow_s,
    CASE WHEN n.id IS NULL THEN r.last_blow_s ELSE n.last_blow_s END AS last_blow_s,
    CASE WHEN n.id IS NULL THEN r.drive_time_s ELSE n.drive_time_s END AS drive_time_s,
    CASE WHEN n.id IS NULL THEN r.blows ELSE n.blows END AS blows,
    CASE WHEN n.id IS NULL THEN r.blow_rate_hz ELSE n.blow_rate_hz END AS blow_rate_hz,
    CASE WHEN n.id IS NULL THEN r.ringing_kN ELSE n.ringing_kN END AS ringing_kN,
    CASE WHEN n.id IS NULL THEN r.peak_kN ELSE n.peak_kN END AS peak_kN,
    CASE WHEN n.id IS NULL THEN r.peak_time_s ELSE n.peak_time_s END AS peak_time_s,
    CASE WHEN n.id IS NULL THEN r.peak_is_lower_bound ELSE n.peak_is_lower_bound END AS peak_is_lower_bound,
    CASE WHEN n.id IS NULL THEN r.level_kN ELSE n.level_kN END AS level_kN,
    CASE WHEN n.id IS NULL THEN r.held_kN ELSE n.held_kN END AS held_kN,
    CASE WHEN n.id IS NULL THEN r.held_Nm ELSE n.held_Nm END AS held_Nm,
    CASE WHEN n.id IS NULL THEN r.peak_Nm ELSE n.peak_Nm END AS peak_Nm,
    CASE WHEN n.id IS NULL THEN r.plateau_kN ELSE n.plateau_kN END AS plateau_kN,
    CASE WHEN n.id IS NULL THEN r.plateau_se_kN ELSE n.plateau_se_kN END AS plateau_se_kN,
    CASE WHEN n.id IS NULL THEN r.plateau_Nm ELSE n.plateau_Nm END AS plateau_Nm,
    CASE WHEN n.id IS NULL THEN r.time_constant_s ELSE n.time_constant_s END AS time_constant_s,
    CASE WHEN n.id IS NULL THEN r.time_constant_se_s ELSE n.time_constant_se_s END AS time_constant_se_s,
    CASE WHEN n.id IS NULL THEN r.spikes ELSE n.spikes END AS spikes,
    CASE WHEN n.id IS NULL THEN r.missing ELSE n.missing END AS missing,
    CASE WHEN n.id IS NULL THEN r.clipped ELSE n.clipped END AS clipped,
    r.resolution_kN, r.entered_by, r.note,
    n.id AS recomputation, n.utc_ns AS recomputed_utc_ns
FROM runs r
LEFT JOIN recomputations n ON n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = r.id);

-- Gates, blows and flags that go with the newest measures.
CREATE VIEW run_gates AS
SELECT run, gate, after_s, tension_kN, torque_Nm FROM gates g
WHERE NOT EXISTS (SELECT 1 FROM recomputations n WHERE n.run = g.run)
UNION ALL
SELECT n.run, g.gate, g.after_s, g.tension_kN, g.torque_Nm
FROM recomputations n JOIN recomputed_gates g ON g.recomputation = n.id
WHERE n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = n.run);

CREATE VIEW run_blows AS
SELECT run, blow, at_s, level_kN FROM blows b
WHERE NOT EXISTS (SELECT 1 FROM recomputations n WHERE n.run = b.run)
UNION ALL
SELECT n.run, b.blow, b.at_s, b.level_kN
FROM recomputations n JOIN recomputed_blows b ON b.recomputation = n.id
WHERE n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = n.run);

CREATE VIEW run_flags_now AS
SELECT run, flag FROM run_flags f
WHERE NOT EXISTS (SELECT 1 FROM recomputations n WHERE n.run = f.run)
UNION ALL
SELECT n.run, f.flag
FROM recomputations n JOIN recomputed_flags f ON f.recomputation = n.id
WHERE n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = n.run);

-- The latest tags of runs, before it is decided which of them count.
CREATE VIEW run_tags AS
SELECT
    r.id AS run,
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

-- Runs as they were announced, with their latest tags.
CREATE VIEW runs_tagged AS
SELECT r.*, t.setup_now, t.tool_now, t.contacts_now, t.verdict
FROM runs r JOIN run_tags t ON t.run = r.id;

-- The flags that leave a run out: of its newest measures and of its announcement. A setup named afterwards
-- answers `untagged` and `setup-changed`.
CREATE VIEW run_left_out_by_flag AS
SELECT rf.run, rf.flag
FROM run_flags_now rf JOIN flags f ON f.flag = rf.flag AND f.leaves_out = 1
WHERE NOT (rf.flag IN ('untagged', 'setup-changed')
           AND EXISTS (SELECT 1 FROM corrections c WHERE c.run = rf.run AND c.setup IS NOT NULL));

CREATE VIEW run_left_out_at_first AS
SELECT rf.run, rf.flag
FROM run_flags rf JOIN flags f ON f.flag = rf.flag AND f.leaves_out = 1
WHERE NOT (rf.flag IN ('untagged', 'setup-changed')
           AND EXISTS (SELECT 1 FROM corrections c WHERE c.run = rf.run AND c.setup IS NOT NULL));

-- The results: one row a run, with its newest measures, the latest tags and whether it counts. `flags`,
-- `gates` and `left_out_because` are JSON arrays; a run is `excluded` where the latter is not empty: by
-- flags, or by a person. A restore undoes the exclusion; where there was none it lifts what the flags say.
CREATE VIEW run_results AS
SELECT
    *, json_array_length(left_out_because) > 0 AS excluded,
    strftime('%Y-%m-%dT%H:%M:%S', recomputed_utc_ns / 1000000000, 'unixepoch')
        || printf('.%03dZ', recomputed_utc_ns / 1000000 % 1000) AS recomputed_utc
FROM (
    SELECT
        m.id, m.rig, m.rig_run, m.first_blow_utc_ns,
        strftime('%Y-%m-%dT%H:%M:%S', m.first_blow_utc_ns / 1000000000, 'unixepoch')
            || printf('.%03dZ', m.first_blow_utc_ns / 1000000 % 1000) AS first_blow_utc,
        t.setup_now AS setup, t.contacts_now AS contacts, t.tool_now AS tool, m.bolt, m.calibration,
        m.rate_hz, m.timing, m.zero_shift_kN, m.noise_kN,
        m.first_blow_s, m.last_blow_s, m.drive_time_s, m.blows, m.blow_rate_hz,
        m.peak_kN, m.peak_time_s, m.peak_is_lower_bound, m.level_kN, m.held_kN,
        m.plateau_kN, m.plateau_se_kN, m.time_constant_s, m.time_constant_se_s,
        m.held_Nm AS equivalent_torque_held_Nm,
        m.peak_Nm AS equivalent_torque_peak_Nm,
        m.plateau_Nm AS equivalent_torque_plateau_Nm,
        c.reason AS closed_by, c.re_pulled, c.re_pulled_level_kN,
        COALESCE((SELECT i.time_scale <> 1 FROM identities i
                  WHERE i.stream = m.stream ORDER BY i.id DESC LIMIT 1), 0) AS simulated,
        -- Not through the views of parts: SQLite would build those whole for one run.
        CASE WHEN m.recomputation IS NULL
        THEN (SELECT json_group_array(flag)
              FROM (SELECT flag FROM run_flags WHERE run = m.id ORDER BY flag))
        ELSE (SELECT json_group_array(flag)
              FROM (SELECT flag FROM recomputed_flags WHERE recomputation = m.recomputation ORDER BY flag))
        END AS flags,
        CASE WHEN m.recomputation IS NULL
        THEN (SELECT json_group_array(json_object('after_s', after_s, 'tension_kN', tension_kN,
                                                  'torque_Nm', torque_Nm))
              FROM (SELECT after_s, tension_kN, torque_Nm FROM gates WHERE run = m.id ORDER BY gate))
        ELSE (SELECT json_group_array(json_object('after_s', after_s, 'tension_kN', tension_kN,
                                                  'torque_Nm', torque_Nm))
              FROM (SELECT after_s, tension_kN, torque_Nm FROM recomputed_gates
                    WHERE recomputation = m.recomputation ORDER BY gate))
        END AS gates,
        (SELECT json_group_array(reason) FROM (
            SELECT 'excluded by ' || v.who || ': ' || v.why AS reason WHERE v.kind = 'exclude'
            UNION ALL
            SELECT flag FROM run_left_out_by_flag
            WHERE run = m.id AND (v.lifts IS NULL OR v.lifts <> 'flags'))) AS left_out_because,
        m.resolution_kN, m.entered_by, m.note, m.stream, m.run_seq, m.recomputation, m.recomputed_utc_ns
    FROM runs_measured m
    JOIN run_tags t ON t.run = m.id
    LEFT JOIN corrections v ON v.id = t.verdict
    LEFT JOIN closings c ON c.run = m.id
);

-- The same as they were announced, whatever was measured again since.
CREATE VIEW run_originals AS
SELECT
    *, json_array_length(left_out_because) > 0 AS excluded,
    NULL AS recomputation, NULL AS recomputed_utc_ns, NULL AS recomputed_utc
FROM (
    SELECT
        m.id, m.rig, m.rig_run, m.first_blow_utc_ns,
        strftime('%Y-%m-%dT%H:%M:%S', m.first_blow_utc_ns / 1000000000, 'unixepoch')
            || printf('.%03dZ', m.first_blow_utc_ns / 1000000 % 1000) AS first_blow_utc,
        t.setup_now AS setup, t.contacts_now AS contacts, t.tool_now AS tool, m.bolt, m.calibration,
        m.rate_hz, m.timing, m.zero_shift_kN, m.noise_kN,
        m.first_blow_s, m.last_blow_s, m.drive_time_s, m.blows, m.blow_rate_hz,
        m.peak_kN, m.peak_time_s, m.peak_is_lower_bound, m.level_kN, m.held_kN,
        m.plateau_kN, m.plateau_se_kN, m.time_constant_s, m.time_constant_se_s,
        m.held_Nm AS equivalent_torque_held_Nm,
        m.peak_Nm AS equivalent_torque_peak_Nm,
        m.plateau_Nm AS equivalent_torque_plateau_Nm,
        c.reason AS closed_by, c.re_pulled, c.re_pulled_level_kN,
        COALESCE((SELECT i.time_scale <> 1 FROM identities i
                  WHERE i.stream = m.stream ORDER BY i.id DESC LIMIT 1), 0) AS simulated,
        (SELECT json_group_array(flag)
         FROM (SELECT flag FROM run_flags WHERE run = m.id ORDER BY flag)) AS flags,
        (SELECT json_group_array(json_object('after_s', after_s, 'tension_kN', tension_kN,
                                             'torque_Nm', torque_Nm))
         FROM (SELECT after_s, tension_kN, torque_Nm FROM gates WHERE run = m.id ORDER BY gate)) AS gates,
        (SELECT json_group_array(reason) FROM (
            SELECT 'excluded by ' || v.who || ': ' || v.why AS reason WHERE v.kind = 'exclude'
            UNION ALL
            SELECT flag FROM run_left_out_at_first
            WHERE run = m.id AND (v.lifts IS NULL OR v.lifts <> 'flags'))) AS left_out_because,
        m.resolution_kN, m.entered_by, m.note, m.stream, m.run_seq
    FROM runs m
    JOIN run_tags t ON t.run = m.id
    LEFT JOIN corrections v ON v.id = t.verdict
    LEFT JOIN closings c ON c.run = m.id
);

-- How often each tool was used, by the latest tags; `first_utc_ns` and `last_utc_ns` are first blows.
CREATE VIEW tool_uses AS
SELECT tool, SUM(runs) AS runs, MIN(first_utc_ns) AS first_utc_ns, MAX(last_utc_ns) AS last_utc_ns
FROM (
    SELECT tool, COUNT(*) AS runs, MIN(first_blow_utc_ns) AS first_utc_ns, MAX(first_blow_utc_ns) AS last_utc_ns
    FROM runs
    WHERE tool IS NOT NULL AND id NOT IN (SELECT run FROM corrections WHERE tool IS NOT NULL)
    GROUP BY tool
    UNION ALL
    SELECT c.tool, COUNT(*), MIN(r.first_blow_utc_ns), MAX(r.first_blow_utc_ns)
    FROM corrections c JOIN runs r ON r.id = c.run
    WHERE c.id IN (SELECT MAX(id) FROM corrections WHERE tool IS NOT NULL GROUP BY run)
    GROUP BY c.tool
)
GROUP BY tool;

-- The same for setups, and for pieces: a piece was used by the runs of each setup that was made of it at
-- that time, by the versions on the shelf.
CREATE VIEW setup_spans AS
SELECT s.name AS setup, s.document, s.utc_ns AS from_utc_ns,
       LEAD(s.utc_ns, 1, 9223372036854775807) OVER (PARTITION BY s.name ORDER BY s.id) AS until_utc_ns
FROM shelf s WHERE s.kind = 'setups';

CREATE VIEW setup_span_uses AS
SELECT s.setup, s.document, s.from_utc_ns,
       (SELECT COUNT(*) FROM runs r
        WHERE r.setup = s.setup AND r.first_blow_utc_ns >= s.from_utc_ns AND r.first_blow_utc_ns < s.until_utc_ns
          AND r.id NOT IN (SELECT run FROM corrections WHERE setup IS NOT NULL)) AS runs,
       (SELECT r.first_blow_utc_ns FROM runs r
        WHERE r.setup = s.setup AND r.first_blow_utc_ns >= s.from_utc_ns AND r.first_blow_utc_ns < s.until_utc_ns
          AND r.id NOT IN (SELECT run FROM corrections WHERE setup IS NOT NULL)
        ORDER BY r.first_blow_utc_ns LIMIT 1) AS first_utc_ns,
       (SELECT r.first_blow_utc_ns FROM runs r
        WHERE r.setup = s.setup AND r.first_blow_utc_ns >= s.from_utc_ns AND r.first_blow_utc_ns < s.until_utc_ns
          AND r.id NOT IN (SELECT run FROM corrections WHERE setup IS NOT NULL)
        ORDER BY r.first_blow_utc_ns DESC LIMIT 1) AS last_utc_ns
FROM setup_spans s
UNION ALL
SELECT s.setup, s.document, s.from_utc_ns, COUNT(*), MIN(r.first_blow_utc_ns), MAX(r.first_blow_utc_ns)
FROM corrections c
JOIN runs r ON r.id = c.run
JOIN setup_spans s ON s.setup = c.setup
    AND r.first_blow_utc_ns >= s.from_utc_ns AND r.first_blow_utc_ns < s.until_utc_ns
WHERE c.id IN (SELECT MAX(id) FROM corrections WHERE setup IS NOT NULL GROUP BY run)
GROUP BY s.setup, s.from_utc_ns;

CREATE VIEW setup_uses AS
SELECT setup, SUM(runs) AS runs, MIN(first_utc_ns) AS first_utc_ns, MAX(last_utc_ns) AS last_utc_ns
FROM (
    SELECT setup, COUNT(*) AS runs, MIN(first_blow_utc_ns) AS first_utc_ns,
           MAX(first_blow_utc_ns) AS last_utc_ns
    FROM runs
    WHERE setup IS NOT NULL AND id NOT IN (SELECT run FROM corrections WHERE setup IS NOT NULL)
    GROUP BY setup
    UNION ALL
    SELECT c.setup, COUNT(*), MIN(r.first_blow_utc_ns), MAX(r.first_blow_utc_ns)
    FROM corrections c JOIN runs r ON r.id = c.run
    WHERE c.id IN (SELECT MAX(id) FROM corrections WHERE setup IS NOT NULL GROUP BY run)
    GROUP BY c.setup
)
GROUP BY setup;

CREATE VIEW piece_uses AS
SELECT piece, SUM(runs) AS runs, MIN(first_utc_ns) AS first_utc_ns, MAX(last_utc_ns) AS last_utc_ns
FROM (
    -- A piece that stands twice in a chain is used once a run.
    SELECT p.piece, u.runs, u.first_utc_ns, u.last_utc_ns
    FROM setup_span_uses u
    JOIN (SELECT DISTINCT s.setup, s.from_utc_ns, e.value AS piece
          FROM setup_spans s, json_each(s.document, '$.pieces') e) p
        ON p.setup = u.setup AND p.from_utc_ns = u.from_utc_ns
    WHERE u.runs > 0
)
GROUP BY piece;

CREATE VIEW bolts_shelved AS
SELECT name AS bolt, MAX(utc_ns) AS utc_ns FROM shelf
WHERE kind = 'bolts' AND document IS NOT NULL GROUP BY name;

-- Tightenings of each test bolt: every run stretched it once, whatever its flags and whether it counts, and
-- every second pull once more. `since_utc_ns` is when it was last put on the shelf: new, cleaned or
-- lubricated anew. A setup or tool named afterwards changes nothing here.
CREATE VIEW bolt_uses AS
SELECT b.bolt, b.runs, b.runs + COALESCE(p.pulls, 0) AS tightenings, s.utc_ns AS since_utc_ns,
       CASE WHEN s.utc_ns IS NOT NULL
            THEN (SELECT COUNT(*) FROM runs r WHERE r.bolt = b.bolt AND r.first_blow_utc_ns >= s.utc_ns)
                 + COALESCE(p.pulls_since, 0) END AS tightenings_since,
       b.first_utc_ns, b.last_utc_ns
FROM (SELECT bolt, COUNT(*) AS runs, MIN(first_blow_utc_ns) AS first_utc_ns,
             MAX(first_blow_utc_ns) AS last_utc_ns
      FROM runs WHERE bolt IS NOT NULL GROUP BY bolt) b
LEFT JOIN bolts_shelved s ON s.bolt = b.bolt
LEFT JOIN (
    -- From the few second pulls to their runs, not the other way round.
    SELECT r.bolt, COUNT(*) AS pulls, COUNT(*) FILTER (WHERE r.first_blow_utc_ns >= s.utc_ns) AS pulls_since
    FROM closings c CROSS JOIN runs r ON r.id = c.run LEFT JOIN bolts_shelved s ON s.bolt = r.bolt
    WHERE c.re_pulled = 1
    GROUP BY r.bolt
) p ON p.bolt = b.bolt;

-- Runs on each battery, and since it was last said to be fresh.
CREATE VIEW source_uses AS
SELECT u.source, u.runs, u.first_utc_ns, u.last_utc_ns, f.utc_ns AS fresh_utc_ns,
       CASE WHEN f.utc_ns IS NOT NULL
            THEN (SELECT COUNT(*) FROM run_sources r
                  WHERE r.source = u.source AND r.first_blow_utc_ns >= f.utc_ns) END AS runs_since_fresh
FROM (SELECT source, COUNT(*) AS runs, MIN(first_blow_utc_ns) AS first_utc_ns,
             MAX(first_blow_utc_ns) AS last_utc_ns
      FROM run_sources GROUP BY source) u
LEFT JOIN (SELECT json_extract(command, '$.in_force.source.id') AS source, MAX(utc_ns) AS utc_ns
           FROM commands
           WHERE kind = 'use' AND json_extract(command, '$.in_force.source.fresh') = 1
           GROUP BY 1) f ON f.source = u.source;
