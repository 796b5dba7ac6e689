//! Tells of a run after it was stored: waits for the commit of each row, in order, off the rig's thread.
//!
//! The feed says `run 42` only when run 42 is on disk. Rows waiting are bounded; a row that finds no
//! room is stored all the same, only its news is dropped and counted.

use super::news::Feed;
use super::wall::{Wall, look};
use boltscribe_http::News;
use boltscribe_pipeline::RunRow;
use boltscribe_store::{Pending, RunId, Written};
use std::collections::BTreeMap;
use std::sync::Arc;
use tokio::sync::mpsc;

/// Rows whose commit is waited for, a rig.
pub const LETTERS_MAX: usize = 256;
/// Runs that are announced and not closed, a rig; a rig has one, a burst of interrupted ones a few.
const OPEN_RUNS_MAX: usize = 64;

/// A row on its way to disk.
pub struct Letter {
    /// The answer that comes after the commit; the run's row stands last in it.
    pub pending: Pending,
    /// The row.
    pub row: RunRow,
}

/// Delivers until the sender is gone.
pub async fn run(rig: String, mut letters: mpsc::Receiver<Letter>, feed: Feed, wall: Arc<Wall>) {
    let mut open: BTreeMap<u32, RunId> = BTreeMap::new();
    while let Some(Letter { pending, row }) = letters.recv().await {
        let outcome = match pending.wait().await {
            Ok(mut outcomes) => outcomes.pop(),
            Err(e) => {
                tracing::error!("{e}");
                continue;
            }
        };
        let id = match (&row, outcome) {
            (RunRow::Announced(run), Some(Ok(Written::Run(id)))) => {
                if open.len() >= OPEN_RUNS_MAX {
                    open.pop_first();
                }
                open.insert(run.run_seq, id);
                id
            }
            (RunRow::Closed(closed), Some(Ok(_))) => match open.remove(&closed.run_seq) {
                Some(id) => id,
                None => continue,
            },
            (_, Some(Err(refused))) => {
                tracing::error!("rig '{rig}': {refused}");
                continue;
            }
            (RunRow::Announced(_), _) | (_, None) => continue,
        };
        let utc_ns = wall.utc_ns(look().mono);
        feed.tell(&rig, utc_ns, News::Run { id, row: Box::new(row) });
    }
}
