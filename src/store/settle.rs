//! What a store does at its opening about runs that were announced but whose end was not recorded:
//! their samples are packed, and they are closed as interrupted.
//!
//! Runs that were not announced yet are left for [`super::Store::unfinished`].

use super::audit::Recorder;
use super::write::StreamId;
use super::{insert_block, insert_run};
use rusqlite::Connection;

/// CROSS JOIN keeps SQLite from going through all runs: few or none are open.
const LEFT_OPEN: &str = "SELECT o.stream, o.run_seq, o.rate_hz, r.last_blow_s, o.ended, o.closed
    FROM open_runs o CROSS JOIN runs r ON r.stream = o.stream AND r.run_seq = o.run_seq
    ORDER BY o.stream, o.run_seq";

/// Closes all announced runs that are still open, in one transaction.
pub(super) fn settle(connection: &mut Connection, recorder: &Recorder) -> rusqlite::Result<()> {
    recorder.forget();
    let transaction = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    close(&transaction, None)?;
    recorder.link(&transaction)?;
    transaction.commit()
}

/// Closes those of one stream, or of all.
pub(super) fn close(transaction: &Connection, of: Option<StreamId>) -> rusqlite::Result<()> {
    let left: Vec<(i64, u32, f64, f64, bool, bool)> = transaction
        .prepare(LEFT_OPEN)?
        .query_map([], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?))
        })?
        .collect::<rusqlite::Result<_>>()?;
    for (stream, run_seq, rate_hz, last_blow_s, ended, closed) in left {
        let stream = StreamId(stream);
        if of.is_some_and(|of| of != stream) {
            continue;
        }
        let end_s = insert_block::end_s(transaction, stream, run_seq, rate_hz)?;
        if !closed {
            let row = insert_run::interrupted(run_seq, end_s.unwrap_or(last_blow_s).max(last_blow_s));
            // Refused only where it is there already; then nothing is lacking.
            let _ = insert_run::closed(transaction, stream, &row)?;
        }
        if !ended {
            insert_block::end(transaction, stream, run_seq)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Mode, Store};

    #[test]
    fn opening_a_store_does_not_go_through_all_its_runs() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let reader = store.readers().reader().unwrap();
        let plan = reader
            .all(&format!("EXPLAIN QUERY PLAN {LEFT_OPEN}"), [], |row| row.get::<_, String>(3))
            .unwrap();
        assert!(plan.iter().any(|step| step.starts_with("SEARCH r ")), "{plan:?}");
        assert!(!plan.iter().any(|step| step.starts_with("SCAN r")), "{plan:?}");
    }
}
