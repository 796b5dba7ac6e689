//! Whether a run was one tightening too many for its test bolt, by the shelf as it stands.
//!
//! Only the store counts the tightenings of a bolt over all rigs and starts, so the flag is raised where the run
//! is stored, inside the writer's transaction. It stands beside the flags of the run's document, as those of the
//! closing do.

use boltscribe_analysis::results::Flag;
use rusqlite::{Connection, OptionalExtension, params};

/// Raises the flag of run `id` where it is due.
pub(super) fn raise(tx: &Connection, id: i64, bolt: Option<&str>) -> rusqlite::Result<()> {
    let Some(bolt) = bolt else { return Ok(()) };
    let due: Option<(Option<i64>, i64)> = tx
        .prepare_cached(
            "SELECT json_extract(document, '$.due_after'), utc_ns FROM shelf_now
             WHERE kind = 'bolts' AND name = ?1",
        )?
        .query_row([bolt], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((Some(due_after), since_utc_ns)) = due else { return Ok(()) };
    let tightenings: i64 = tx
        .prepare_cached(
            "SELECT (SELECT COUNT(*) FROM runs WHERE bolt = ?1 AND first_blow_utc_ns >= ?2)
                  + (SELECT COUNT(*) FROM closings c CROSS JOIN runs r ON r.id = c.run
                     WHERE c.re_pulled = 1 AND r.bolt = ?1 AND r.first_blow_utc_ns >= ?2)",
        )?
        .query_row(params![bolt, since_utc_ns], |row| row.get(0))?;
    if tightenings > due_after {
        tx.prepare_cached("INSERT INTO run_flags (run, flag) VALUES (?1, ?2) ON CONFLICT DO NOTHING")?
            .execute(params![id, Flag::BoltDue.name()])?;
    }
    Ok(())
}

/// A run measured again is as late for its bolt, and as cold, as it was.
pub(super) fn carry(tx: &Connection, run: i64, recomputation: i64) -> rusqlite::Result<()> {
    tx.prepare_cached(
        "INSERT INTO recomputed_flags (recomputation, flag)
         SELECT ?2, flag FROM run_flags WHERE run = ?1 AND flag IN (?3, ?4) ON CONFLICT DO NOTHING",
    )?
    .execute(params![run, recomputation, Flag::BoltDue.name(), Flag::Cold.name()])?;
    Ok(())
}
