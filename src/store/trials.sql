-- Trials: a plan, and what people said while it was walked. Rows are never changed.
CREATE TABLE trials (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL UNIQUE,
    rig      TEXT NOT NULL REFERENCES rigs (rig),
    utc_ns   INTEGER NOT NULL,
    who      TEXT NOT NULL,
    document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;
CREATE INDEX trials_by_rig ON trials (rig, id);

-- `go` counts the times that somebody was ready; two people cannot be ready for the same one.
CREATE TABLE trial_entries (
    id       INTEGER PRIMARY KEY,
    trial    INTEGER NOT NULL REFERENCES trials (id),
    utc_ns   INTEGER NOT NULL,
    who      TEXT NOT NULL,
    kind     TEXT NOT NULL,
    go       INTEGER,
    document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;
CREATE INDEX trial_entries_by_trial ON trial_entries (trial, id);
CREATE UNIQUE INDEX trial_goes ON trial_entries (trial, go) WHERE kind = 'ready';

-- Which run took which go: the first one at the rig after it, and before the rig's next go of any trial. The `+`
-- makes the index of times lead: by the rig's own numbers all its earlier runs would be gone through.
CREATE VIEW trial_runs AS
SELECT e.trial, e.go,
       json_extract(e.document, '$.step.phase') AS phase,
       json_extract(e.document, '$.step.number') AS number,
       (SELECT r.id FROM runs r
        WHERE +r.rig = t.rig AND r.first_blow_utc_ns >= e.utc_ns
          AND r.first_blow_utc_ns < COALESCE(
              (SELECT n.utc_ns FROM trial_entries n
               WHERE n.id > e.id AND n.kind = 'ready'
                 AND (SELECT u.rig FROM trials u WHERE u.id = n.trial) = t.rig
               ORDER BY n.id LIMIT 1), 9223372036854775807)
        ORDER BY r.first_blow_utc_ns LIMIT 1) AS run
FROM trial_entries e JOIN trials t ON t.id = e.trial
WHERE e.kind = 'ready';
