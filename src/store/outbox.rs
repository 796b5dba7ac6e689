//! Writing the outbox: what is still to be forwarded. A row of a run is put in by the transaction that
//! stores the run, its closing or its correction, and leaves once it is safe at the central store.
//!
//! While nothing is set up to forward, nothing is put in. The outbox is bounded: health goes first, then
//! rows of runs are not taken any more; each is counted. Must not know networks.

use super::insert::Applied;
use super::write::{Refused, RunId, Written};
use rusqlite::{Connection, OptionalExtension, params};

/// Most rows that wait: a run has two or three, so this is more than 1,000,000 runs.
pub const WAITING_MAX: i64 = 4_000_000;
/// Most rows of health that wait; the oldest goes first.
pub const WAITING_HEALTH_MAX: i64 = 100_000;
/// Most runs that one [`OutboxWrite::Runs`] puts in, so that the writer is not held up.
pub const RUNS_AT_ONCE_MAX: i64 = 10_000;
/// Longest reason kept with a row in quarantine, characters.
const REASON_CHARS_MAX: usize = 500;

/// A change of the outbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OutboxWrite {
    /// Whether something is set up to forward, from now on.
    Forwarding(bool),
    /// Points about how things are, as finished lines.
    Health {
        /// The lines.
        lines: String,
    },
    /// All rows of these numbers that are not in quarantine are safe at the central store.
    Delivered {
        /// The first.
        first: i64,
        /// The last.
        last: i64,
    },
    /// The central store will not have this row.
    Quarantine {
        /// Which.
        id: i64,
        /// What it said.
        reason: String,
    },
    /// A row in quarantine, or none: all of them, is to be sent again. Answered with [`Written::Rows`].
    Again(Option<i64>),
    /// Stored runs of these numbers are to be sent, whether they were before or not; at most
    /// [`RUNS_AT_ONCE_MAX`]. Answered with [`Written::Rows`].
    Runs {
        /// The first.
        first: i64,
        /// The last.
        last: i64,
    },
}

/// What of a run is to be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Run,
    Closing,
    Correction,
}

impl Part {
    const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Closing => "closing",
            Self::Correction => "correction",
        }
    }
}

/// Whether a run gets no closing any more: it has one, or it was read by hand.
const SETTLED: &str = "SELECT EXISTS (SELECT 1 FROM closings WHERE run = ?1)
    OR EXISTS (SELECT 1 FROM runs WHERE id = ?1 AND stream IS NULL)";

/// Puts a part of a run in, if something is set up to forward.
pub(super) fn enqueue(tx: &Connection, part: Part, run: RunId) -> rusqlite::Result<()> {
    let forwarding: bool = tx
        .prepare_cached("SELECT forwarding FROM outbox_state WHERE one = 1")?
        .query_row([], |row| row.get(0))?;
    if !forwarding {
        return Ok(());
    }
    // What was corrected before the closing goes with the closing, so that no figure of a point changes.
    match part {
        Part::Correction if !has(tx, SETTLED, run)? => Ok(()),
        Part::Closing if has(tx, "SELECT EXISTS (SELECT 1 FROM corrections WHERE run = ?1)", run)? => {
            put(tx, Part::Closing, run)?;
            put(tx, Part::Correction, run)
        }
        _ => put(tx, part, run),
    }
}

fn has(tx: &Connection, sql: &str, run: RunId) -> rusqlite::Result<bool> {
    tx.prepare_cached(sql)?.query_row([run.0], |row| row.get(0))
}

fn put(tx: &Connection, part: Part, run: RunId) -> rusqlite::Result<()> {
    if !make_room(tx, WAITING_MAX)? {
        tx.prepare_cached("UPDATE outbox_state SET rows_dropped = rows_dropped + 1")?.execute([])?;
        return Ok(());
    }
    tx.prepare_cached("INSERT INTO outbox (kind, run) VALUES (?1, ?2)")?
        .execute(params![part.word(), run.0])?;
    Ok(())
}

/// Whether there is room for one row more, after the oldest health gave its own up if need be.
fn make_room(tx: &Connection, most: i64) -> rusqlite::Result<bool> {
    let waiting: i64 =
        tx.prepare_cached("SELECT waiting FROM outbox_state")?.query_row([], |row| row.get(0))?;
    if waiting < most {
        return Ok(true);
    }
    Ok(drop_oldest_health(tx)? > 0)
}

fn drop_oldest_health(tx: &Connection) -> rusqlite::Result<usize> {
    let dropped = tx
        .prepare_cached(
            "DELETE FROM outbox WHERE id = (SELECT MIN(id) FROM outbox WHERE kind = 'health' AND reason IS NULL)",
        )?
        .execute([])?;
    tx.prepare_cached("UPDATE outbox_state SET health_dropped = health_dropped + ?1")?
        .execute([dropped as i64])?;
    Ok(dropped)
}

/// Stores a change of the outbox.
pub(super) fn apply(tx: &Connection, write: &OutboxWrite) -> Applied {
    match write {
        OutboxWrite::Forwarding(on) => {
            tx.prepare_cached("UPDATE outbox_state SET forwarding = ?1")?.execute([on])?;
            Ok(Ok(Written::Row))
        }
        OutboxWrite::Health { lines } => health(tx, lines),
        OutboxWrite::Delivered { first, last } => {
            let rows = tx
                .prepare_cached("DELETE FROM outbox WHERE id BETWEEN ?1 AND ?2 AND reason IS NULL")?
                .execute([first, last])?;
            tx.prepare_cached("UPDATE outbox_state SET delivered = delivered + ?1")?
                .execute([rows as i64])?;
            Ok(Ok(Written::Rows(rows as u64)))
        }
        OutboxWrite::Quarantine { id, reason } => {
            let reason: String = reason.chars().take(REASON_CHARS_MAX).collect();
            // It may have left by a person's word meanwhile; then there is nothing to keep from sending.
            tx.prepare_cached("UPDATE outbox SET reason = ?2 WHERE id = ?1")?.execute(params![id, reason])?;
            Ok(Ok(Written::Row))
        }
        OutboxWrite::Again(id) => again(tx, *id),
        OutboxWrite::Runs { first, last } => runs(tx, *first, *last),
    }
}

fn health(tx: &Connection, lines: &str) -> Applied {
    let state = |row: &rusqlite::Row<'_>| Ok((row.get::<_, bool>(0)?, row.get::<_, i64>(1)?));
    let (forwarding, waiting) =
        tx.prepare_cached("SELECT forwarding, waiting_health FROM outbox_state")?.query_row([], state)?;
    if !forwarding {
        return Ok(Ok(Written::Row));
    }
    if waiting >= WAITING_HEALTH_MAX {
        drop_oldest_health(tx)?;
    }
    if make_room(tx, WAITING_MAX)? {
        tx.prepare_cached("INSERT INTO outbox (kind, lines) VALUES ('health', ?1)")?.execute([lines])?;
    } else {
        tx.prepare_cached("UPDATE outbox_state SET health_dropped = health_dropped + 1")?.execute([])?;
    }
    Ok(Ok(Written::Row))
}

/// Rows get new numbers: what was sent before them must not take them along when it is called delivered.
fn again(tx: &Connection, id: Option<i64>) -> Applied {
    if let Some(id) = id {
        let there: Option<bool> = tx
            .prepare_cached("SELECT reason IS NOT NULL FROM outbox WHERE id = ?1")?
            .query_row([id], |row| row.get(0))
            .optional()?;
        if there != Some(true) {
            let what = format!("that row {id} of the outbox is sent again");
            return Ok(Err(Refused::Unknown { what, of: format!("row {id} in quarantine") }));
        }
    }
    let rows = tx
        .prepare_cached(
            "INSERT INTO outbox (kind, run, lines)
             SELECT kind, run, lines FROM outbox WHERE reason IS NOT NULL AND (?1 IS NULL OR id = ?1) ORDER BY id",
        )?
        .execute([id])?;
    tx.prepare_cached("DELETE FROM outbox WHERE reason IS NOT NULL AND (?1 IS NULL OR id = ?1)")?
        .execute([id])?;
    Ok(Ok(Written::Rows(rows as u64)))
}

fn runs(tx: &Connection, first: i64, last: i64) -> Applied {
    let last = last.min(first.saturating_add(RUNS_AT_ONCE_MAX - 1));
    let waiting: i64 =
        tx.prepare_cached("SELECT waiting FROM outbox_state")?.query_row([], |row| row.get(0))?;
    if waiting.saturating_add(3 * (last - first + 1)) > WAITING_MAX {
        return Ok(Err(Refused::Row {
            what: format!("that runs {first} to {last} are sent"),
            detail: format!(
                "expected room in the outbox, found {waiting} rows waiting of at most {WAITING_MAX}"
            ),
        }));
    }
    let rows = tx
        .prepare_cached(
            "INSERT INTO outbox (kind, run)
             SELECT p.part, r.id
             FROM runs r JOIN (SELECT 'run' AS part, 1 AS place UNION ALL SELECT 'closing', 2
                               UNION ALL SELECT 'correction', 3) p
             WHERE r.id BETWEEN ?1 AND ?2
               AND (p.part = 'run' OR EXISTS (SELECT 1 FROM closings c WHERE c.run = r.id)
                    OR (p.part = 'correction' AND r.stream IS NULL))
               AND (p.part <> 'correction' OR EXISTS (SELECT 1 FROM corrections c WHERE c.run = r.id))
               AND NOT EXISTS (SELECT 1 FROM outbox o
                               WHERE o.run = r.id AND o.kind = p.part AND o.reason IS NULL)
             ORDER BY r.id, p.place",
        )?
        .execute([first, last])?;
    Ok(Ok(Written::Rows(rows as u64)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn small() -> Connection {
        let tx = Connection::open_in_memory().unwrap();
        tx.execute_batch("CREATE TABLE runs (id INTEGER PRIMARY KEY);").unwrap();
        tx.execute_batch(include_str!("outbox.sql")).unwrap();
        tx.execute_batch("UPDATE outbox_state SET forwarding = 1").unwrap();
        tx
    }

    fn state(tx: &Connection, column: &str) -> i64 {
        tx.query_row(&format!("SELECT {column} FROM outbox_state"), [], |row| row.get(0)).unwrap()
    }

    #[test]
    fn a_full_outbox_gives_up_health_first_and_counts_it() {
        let tx = small();
        for _ in 0..3 {
            apply(&tx, &OutboxWrite::Health { lines: "m f=1".into() }).unwrap().unwrap();
        }
        assert!(make_room(&tx, 4).unwrap());
        assert_eq!(state(&tx, "health_dropped"), 0);
        for left in [2, 1, 0] {
            assert!(make_room(&tx, state(&tx, "waiting")).unwrap());
            assert_eq!((state(&tx, "waiting"), state(&tx, "waiting_health")), (left, left));
        }
        assert!(!make_room(&tx, 0).unwrap(), "nothing is left that could go");
        assert_eq!(state(&tx, "health_dropped"), 3);
    }

    #[test]
    fn health_never_takes_more_than_its_share() {
        let tx = small();
        tx.execute_batch(&format!(
            "UPDATE outbox_state SET waiting_health = {WAITING_HEALTH_MAX}, waiting = {WAITING_HEALTH_MAX}"
        ))
        .unwrap();
        tx.execute_batch("INSERT INTO outbox (kind, lines) VALUES ('health', 'oldest')").unwrap();
        apply(&tx, &OutboxWrite::Health { lines: "newest".into() }).unwrap().unwrap();
        let left: String = tx.query_row("SELECT lines FROM outbox", [], |row| row.get(0)).unwrap();
        assert_eq!((left.as_str(), state(&tx, "health_dropped")), ("newest", 1));
    }
}
