-- Readings by hand: a run may lack what only an amplifier can tell. SQLite cannot take NOT NULL off a column, so
-- the table is made anew, in the order its documentation gives (ALTER TABLE, section 7); references to it are
-- checked afterwards. The views of runs come back with the rest of this version.
DROP VIEW run_results;
DROP VIEW runs_tagged;

-- One row a run, made at its announcement, or when it was read by hand from a dial. `result` is the whole of
-- it, exact; the columns are for looking at it with any client. What a dial cannot tell is null; its moment
-- of reading stands in `first_blow_utc_ns`, because the first blow is not known.
CREATE TABLE runs_anew (
    id                  INTEGER PRIMARY KEY,
    rig                 TEXT NOT NULL REFERENCES rigs (rig),
    rig_run             INTEGER NOT NULL,
    stream              INTEGER REFERENCES streams (id),
    run_seq             INTEGER,
    first_blow_utc_ns   INTEGER NOT NULL,
    setup               TEXT,
    contacts            INTEGER,
    tool                TEXT,
    bolt                TEXT,
    calibration         TEXT,
    rate_hz             REAL,
    timing              TEXT,
    zero_kN             REAL,
    zero_shift_kN       REAL,
    noise_kN            REAL,
    first_blow_s        REAL,
    last_blow_s         REAL,
    drive_time_s        REAL,
    blows               INTEGER,
    blow_rate_hz        REAL,
    ringing_kN          REAL,
    peak_kN             REAL,
    peak_time_s         REAL,
    peak_is_lower_bound INTEGER CHECK (peak_is_lower_bound IN (0, 1)),
    level_kN            REAL,
    held_kN             REAL,
    held_Nm             REAL,
    peak_Nm             REAL,
    plateau_kN          REAL,
    plateau_se_kN       REAL,
    plateau_Nm          REAL,
    time_constant_s     REAL,
    time_constant_se_s  REAL,
    spikes              INTEGER,
    missing             INTEGER,
    clipped             INTEGER,
    -- Of readings by hand: the dial's smallest step in tension, who typed it, what else was said.
    resolution_kN       REAL,
    entered_by          TEXT,
    note                TEXT,
    result              TEXT NOT NULL CHECK (json_valid(result)),
    UNIQUE (rig, rig_run),
    UNIQUE (stream, run_seq),
    CHECK (CASE WHEN stream IS NULL
        THEN resolution_kN IS NOT NULL AND entered_by IS NOT NULL AND run_seq IS NULL
             AND (held_kN IS NULL) + (peak_kN IS NULL) = 1
        ELSE resolution_kN IS NULL AND entered_by IS NULL AND note IS NULL AND run_seq IS NOT NULL
             AND calibration IS NOT NULL AND rate_hz IS NOT NULL AND timing IS NOT NULL
             AND zero_kN IS NOT NULL AND zero_shift_kN IS NOT NULL AND noise_kN IS NOT NULL
             AND first_blow_s IS NOT NULL AND last_blow_s IS NOT NULL AND drive_time_s IS NOT NULL
             AND peak_kN IS NOT NULL AND peak_time_s IS NOT NULL AND peak_is_lower_bound IS NOT NULL
             AND spikes IS NOT NULL AND missing IS NOT NULL AND clipped IS NOT NULL END)
) STRICT;
INSERT INTO runs_anew (
    id, rig, rig_run, stream, run_seq, first_blow_utc_ns, setup, contacts, tool, bolt, calibration,
    rate_hz, timing, zero_kN, zero_shift_kN, noise_kN, first_blow_s, last_blow_s, drive_time_s,
    blows, blow_rate_hz, ringing_kN, peak_kN, peak_time_s, peak_is_lower_bound, level_kN, held_kN,
    held_Nm, peak_Nm, plateau_kN, plateau_se_kN, plateau_Nm, time_constant_s, time_constant_se_s,
    spikes, missing, clipped, result
)
SELECT
    id, rig, rig_run, stream, run_seq, first_blow_utc_ns, setup, contacts, tool, bolt, calibration,
    rate_hz, timing, zero_kN, zero_shift_kN, noise_kN, first_blow_s, last_blow_s, drive_time_s,
    blows, blow_rate_hz, ringing_kN, peak_kN, peak_time_s, peak_is_lower_bound, level_kN, held_kN,
    held_Nm, peak_Nm, plateau_kN, plateau_se_kN, plateau_Nm, time_constant_s, time_constant_se_s,
    spikes, missing, clipped, result
FROM runs;
DROP TABLE runs;
ALTER TABLE runs_anew RENAME TO runs;
CREATE INDEX runs_by_setup ON runs (setup, id);
CREATE INDEX runs_by_tool ON runs (tool, id);
CREATE INDEX runs_by_time ON runs (first_blow_utc_ns);

-- Runs are numbered from 1 without gaps, in the store and at each rig.
CREATE TRIGGER runs_are_numbered_without_gaps BEFORE INSERT ON runs
WHEN NEW.id <> (SELECT COALESCE(MAX(id), 0) + 1 FROM runs)
  OR NEW.rig_run <> (SELECT COALESCE(MAX(rig_run), 0) + 1 FROM runs WHERE rig = NEW.rig)
BEGIN SELECT RAISE(ABORT, 'runs are numbered without gaps'); END;

