-- Schema version 2: the outbox, what is still to be forwarded to a central store. Rows leave it, so the rule
-- that rows are never changed does not hold here; what they point at is never changed.

CREATE TABLE outbox (
    -- Order of sending. AUTOINCREMENT: a number is never given twice, so a late "delivered" deletes no other row.
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    kind   TEXT NOT NULL CHECK (kind IN ('run', 'closing', 'correction', 'health')),
    run    INTEGER REFERENCES runs (id),
    -- Health only: the points as text, because they are kept nowhere else.
    lines  TEXT,
    -- Why the server will not have it; such a row is in quarantine and is not sent again by itself.
    reason TEXT,
    CHECK ((kind = 'health') = (lines IS NOT NULL)),
    CHECK ((kind = 'health') = (run IS NULL))
) STRICT;
CREATE INDEX outbox_by_run ON outbox (run, kind) WHERE run IS NOT NULL;
CREATE INDEX outbox_health ON outbox (id) WHERE kind = 'health';
CREATE INDEX outbox_quarantined ON outbox (id) WHERE reason IS NOT NULL;

-- One row. The first four follow from the outbox by the triggers below; the others only grow.
CREATE TABLE outbox_state (
    one            INTEGER PRIMARY KEY CHECK (one = 1),
    -- 1 while the daemon is set up to forward; else nothing is put into the outbox.
    forwarding     INTEGER NOT NULL CHECK (forwarding IN (0, 1)),
    waiting        INTEGER NOT NULL,
    waiting_health INTEGER NOT NULL,
    quarantined    INTEGER NOT NULL,
    delivered      INTEGER NOT NULL,
    health_dropped INTEGER NOT NULL,
    rows_dropped   INTEGER NOT NULL
) STRICT;
INSERT INTO outbox_state VALUES (1, 0, 0, 0, 0, 0, 0, 0);

CREATE TRIGGER outbox_counts_insert AFTER INSERT ON outbox BEGIN
    UPDATE outbox_state SET
        waiting = waiting + (NEW.reason IS NULL),
        waiting_health = waiting_health + (NEW.reason IS NULL AND NEW.kind = 'health'),
        quarantined = quarantined + (NEW.reason IS NOT NULL);
END;
CREATE TRIGGER outbox_counts_delete AFTER DELETE ON outbox BEGIN
    UPDATE outbox_state SET
        waiting = waiting - (OLD.reason IS NULL),
        waiting_health = waiting_health - (OLD.reason IS NULL AND OLD.kind = 'health'),
        quarantined = quarantined - (OLD.reason IS NOT NULL);
END;
CREATE TRIGGER outbox_counts_update AFTER UPDATE OF reason ON outbox BEGIN
    UPDATE outbox_state SET
        waiting = waiting + (NEW.reason IS NULL) - (OLD.reason IS NULL),
        waiting_health = waiting_health
            + (NEW.reason IS NULL AND NEW.kind = 'health') - (OLD.reason IS NULL AND OLD.kind = 'health'),
        quarantined = quarantined + (NEW.reason IS NOT NULL) - (OLD.reason IS NOT NULL);
END;
