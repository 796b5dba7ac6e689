-- What comes from a simulated device: said by the device, kept with the identity and with each run.
-- `simulated` is the program's rule (SPEC.md of the wire, section 5.1); null in rows of older programs, and in a run
-- that was stored before its device had told who it is.
ALTER TABLE identities ADD COLUMN simulated INTEGER CHECK (simulated IN (0, 1));
ALTER TABLE runs ADD COLUMN simulated INTEGER CHECK (simulated IN (0, 1));

-- Identities by that rule, those of older programs too.
CREATE VIEW identities_told AS
SELECT id, stream, utc_ns, serial, firmware, time_scale,
       COALESCE(simulated, time_scale <> 1 OR firmware GLOB 'virtual-rig*') AS simulated
FROM identities;

-- A run has the mark of the device that had answered when it was stored. Where that is null it has it if any device
-- on its stream was simulated: rather one too many than one too few.
DROP VIEW run_results;
DROP VIEW run_originals;
DROP VIEW runs_measured;

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
    r.resolution_kN, r.entered_by, r.note, r.simulated,
    n.id AS recomputation, n.utc_ns AS recomputed_utc_ns
FROM runs r
LEFT JOIN recomputations n ON n.id = (SELECT MAX(m.id) FROM recomputations m WHERE m.run = r.id);

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
        COALESCE(m.simulated, (SELECT MAX(i.simulated) FROM identities_told i WHERE i.stream = m.stream), 0) AS simulated,
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
        COALESCE(m.simulated, (SELECT MAX(i.simulated) FROM identities_told i WHERE i.stream = m.stream), 0) AS simulated,
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
