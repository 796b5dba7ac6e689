//! From a pipeline's outputs to rows of the store, for one rig.
//!
//! Samples of an open run are handed over every `SAVE_EVERY_NS`, and at once when it opens (with its first
//! samples) or ends; idle time can wait longer. A run's row follows the samples it was measured from. Nothing
//! here waits: where the store's queue is full, samples are dropped and counted, and rows of runs are kept
//! back (bounded) and tried again.

use super::postman::Letter;
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::{Block, RunRow};
use boltscribe_store::{StreamId, Write, Writer};
use std::collections::VecDeque;
use tokio::sync::mpsc;

/// Samples of an open run reach the store's queue this soon, nanoseconds; the pipeline gives them every
/// 100 ms, a tick may come 50 ms late, and all of it has to stay under 250 ms.
pub const SAVE_EVERY_NS: u64 = 50_000_000;
/// Idle time is handed over this often, nanoseconds: a commit costs a synchronous write.
const IDLE_EVERY_NS: u64 = 1_000_000_000;
/// Samples gathered before they are handed over early, bytes.
const GATHERED_BYTES_MAX: usize = 4 << 20;
/// Rows of runs kept back while the queue is full.
const KEPT_BACK_MAX: usize = 1024;

/// What was not stored, and why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Blocks of samples that found the queue full.
    pub blocks: u64,
    /// Rows of runs that found the queue full until no more could be kept back.
    pub runs: u64,
    /// Other rows (events, identities) that found the queue full.
    pub rows: u64,
    /// News of stored runs that were not told.
    pub news: u64,
}

/// Gathers and hands over.
pub struct Keeper {
    rig: String,
    stream: StreamId,
    writer: Writer,
    letters: mpsc::Sender<Letter>,
    gathered: Vec<Write>,
    gathered_bytes: usize,
    holds_raw: bool,
    opened: bool,
    saved: MonoNs,
    kept_back: VecDeque<(RunRow, i64)>,
    /// What was lost.
    pub dropped: Dropped,
}

impl Keeper {
    /// For one rig and its stream.
    #[must_use]
    pub fn new(rig: &str, stream: StreamId, writer: Writer, letters: mpsc::Sender<Letter>) -> Self {
        Self {
            rig: rig.to_owned(),
            stream,
            writer,
            letters,
            gathered: Vec::new(),
            gathered_bytes: 0,
            holds_raw: false,
            opened: false,
            saved: MonoNs(0),
            kept_back: VecDeque::new(),
            dropped: Dropped::default(),
        }
    }

    /// The stream everything belongs to.
    #[must_use]
    pub const fn stream(&self) -> StreamId {
        self.stream
    }

    /// Takes samples.
    pub fn block(&mut self, block: Block, utc_ns: i64) {
        let urgent = matches!(block, Block::End { .. });
        self.holds_raw |= matches!(block, Block::Raw { .. });
        // An opening goes with the samples that come with it: alone it could not be measured after a kill.
        self.opened |= matches!(block, Block::Open { .. });
        self.gathered_bytes += match &block {
            Block::Raw { counts, missing, .. } => 4 * counts.len() + 8 * missing.len(),
            Block::Idle { points, .. } => 12 * points.len(),
            Block::Open { .. } | Block::End { .. } => 0,
        };
        self.gathered.push(Write::Block { stream: self.stream, utc_ns, block });
        if urgent || self.gathered_bytes >= GATHERED_BYTES_MAX {
            self.save();
        }
    }

    /// Takes a row of a run.
    pub fn run(&mut self, row: RunRow, first_blow_utc_ns: i64) {
        self.save();
        self.kept_back.push_back((row, first_blow_utc_ns));
        self.try_kept_back();
        while self.kept_back.len() > KEPT_BACK_MAX {
            self.kept_back.pop_front();
            self.dropped.runs += 1;
        }
    }

    /// Takes any other row.
    pub fn row(&mut self, write: Write) {
        if self.writer.try_send(&self.rig, vec![write]).is_err() {
            self.dropped.rows += 1;
        }
    }

    /// Time passes.
    pub fn tick(&mut self, at: MonoNs) {
        let every_ns = if self.holds_raw { SAVE_EVERY_NS } else { IDLE_EVERY_NS };
        if self.opened || at.since_ns(self.saved) >= every_ns {
            self.saved = at;
            self.save();
            self.try_kept_back();
        }
    }

    /// Hands over what was gathered.
    pub fn save(&mut self) {
        if self.gathered.is_empty() {
            return;
        }
        self.gathered_bytes = 0;
        self.holds_raw = false;
        self.opened = false;
        let writes = std::mem::take(&mut self.gathered);
        let blocks = writes.len() as u64;
        if let Err(e) = self.writer.try_send(&self.rig, writes) {
            if self.dropped.blocks == 0 {
                tracing::error!("{e}; samples are lost, readings go on");
            }
            self.dropped.blocks += blocks;
        }
    }

    /// Rows of runs go one by one: each may find the queue full, and order must hold.
    fn try_kept_back(&mut self) {
        while let Some((row, first_blow_utc_ns)) = self.kept_back.front() {
            let write =
                Write::Run { stream: self.stream, row: row.clone(), first_blow_utc_ns: *first_blow_utc_ns };
            let Ok(pending) = self.writer.submit(&self.rig, vec![write]) else {
                return;
            };
            if let Some((row, _)) = self.kept_back.pop_front()
                && self.letters.try_send(Letter { pending, row }).is_err()
            {
                self.dropped.news += 1;
            }
        }
    }
}

impl Drop for Keeper {
    /// Also where the rig's thread broke off: what was measured by then is stored.
    fn drop(&mut self) {
        self.save();
        self.try_kept_back();
    }
}
