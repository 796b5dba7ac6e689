-- A run names the step of a trial that it took: the attempt goes with the tags, by sample number, into its row.

-- Null where it took none. `step` is 0 for a run of the warm-up; `attempt` is `go` in `trial_entries`.
ALTER TABLE runs ADD COLUMN trial INTEGER REFERENCES trials (id);
ALTER TABLE runs ADD COLUMN step INTEGER;
ALTER TABLE runs ADD COLUMN attempt INTEGER
    CHECK ((trial IS NULL) = (attempt IS NULL) AND (step IS NULL) = (attempt IS NULL));

-- Runs of before carry no attempt. For them the rule of that time is applied once: an attempt was taken by the first
-- run at the rig that began after it and before the rig's next one of any trial. But a run that began while the trial
-- lay aside was for nobody. The only time that rows of runs are changed: the trigger comes back after this step.
DROP TRIGGER IF EXISTS runs_refuses_UPDATE;
UPDATE runs SET trial = taken.trial, step = taken.step, attempt = taken.attempt
FROM (
    -- Where clocks went back two attempts may claim a run: the later one has it.
    SELECT MAX(entry), trial, step, attempt, run
    FROM (
        SELECT e.id AS entry, e.trial, e.go AS attempt, json_extract(e.document, '$.step.number') AS step,
               (SELECT r.id FROM runs r
                WHERE +r.rig = t.rig AND r.first_blow_utc_ns >= e.utc_ns
                  AND r.first_blow_utc_ns < COALESCE(
                      (SELECT n.utc_ns FROM trial_entries n
                       WHERE n.id > e.id AND n.kind = 'ready'
                         AND (SELECT u.rig FROM trials u WHERE u.id = n.trial) = t.rig
                       ORDER BY n.id LIMIT 1), 9223372036854775807)
                ORDER BY r.first_blow_utc_ns LIMIT 1) AS run
        FROM trial_entries e JOIN trials t ON t.id = e.trial
        WHERE e.kind = 'ready'
    ) claims
    WHERE run IS NOT NULL
      AND COALESCE((SELECT a.kind FROM trial_entries a
                    WHERE a.trial = claims.trial AND a.id > claims.entry AND a.kind IN ('abort', 'resume')
                      AND a.utc_ns <= (SELECT r.first_blow_utc_ns FROM runs r WHERE r.id = claims.run)
                    ORDER BY a.id DESC LIMIT 1), 'resume') = 'resume'
    GROUP BY run
) taken
WHERE runs.id = taken.run;

-- One run takes an attempt.
CREATE UNIQUE INDEX runs_by_attempt ON runs (trial, attempt) WHERE trial IS NOT NULL;

DROP VIEW trial_runs;
CREATE VIEW trial_runs AS
SELECT e.trial, e.go,
       json_extract(e.document, '$.step.phase') AS phase,
       json_extract(e.document, '$.step.number') AS number,
       r.id AS run
FROM trial_entries e LEFT JOIN runs r ON r.trial = e.trial AND r.attempt = e.go
WHERE e.kind = 'ready';

-- What is awaited at a rig now gets its attempt into the tags: else its run would take no step. Only the rig's latest
-- "ready" can be awaited, where nothing that was said since took it back.
INSERT INTO commands (rig, utc_ns, who, kind, command)
SELECT c.rig, c.utc_ns, c.who, c.kind,
       json_set(c.command, '$.in_force.attempt',
                json_object('trial', t.name, 'step', json_extract(e.document, '$.step.number'), 'attempt', e.go))
FROM commands c
JOIN trial_entries e ON e.id = (SELECT MAX(n.id) FROM trial_entries n JOIN trials u ON u.id = n.trial
                                WHERE n.kind = 'ready' AND u.rig = c.rig)
JOIN trials t ON t.id = e.trial
WHERE c.id IN (SELECT MAX(id) FROM commands WHERE kind = 'use' GROUP BY rig)
  AND NOT EXISTS (SELECT 1 FROM runs r WHERE r.trial = e.trial AND r.attempt = e.go)
  AND NOT EXISTS (SELECT 1 FROM trial_entries w
                  WHERE w.trial = e.trial AND w.id > e.id
                    AND (w.kind = 'abort' OR w.kind = 'repeat' AND w.go = e.go
                         OR w.kind = 'skip' AND json_extract(w.document, '$.number')
                                                = json_extract(e.document, '$.step.number')));
