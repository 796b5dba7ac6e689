//! The bounded queue before the writer: many senders, one taker, limits on rows and bytes.
//!
//! A sender waits while it is full (the serial line's own buffers then fill, and the device counts what
//! it drops) or is told so at once, as it asked.

use super::write::{Outcome, Write};
use boltscribe_pipeline::Block;
use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::oneshot;

/// Most rows waiting.
pub const QUEUE_ROWS_MAX: usize = 65_536;
/// Most bytes of samples waiting: ten minutes of 32 rigs at 2,000 samples/s are 154 MB.
pub const QUEUE_BYTES_MAX: usize = 256 << 20;

/// Rows of one sender, stored in one transaction.
pub(super) struct Job {
    pub(super) rig: String,
    pub(super) writes: Vec<Write>,
    pub(super) reply: Option<oneshot::Sender<Vec<Outcome>>>,
}

/// Why a job was not taken.
pub(super) enum NotTaken {
    Full,
    Closed,
}

#[derive(Default)]
struct Inner {
    jobs: VecDeque<Job>,
    rows: usize,
    bytes: usize,
    closed: bool,
}

/// The queue.
#[derive(Default)]
pub(super) struct Queue {
    inner: Mutex<Inner>,
    filled: Condvar,
    emptied: Condvar,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts a job in; `wait` says what to do while there is no room.
    pub(super) fn put(&self, job: Job, wait: bool) -> Result<(), NotTaken> {
        let (rows, bytes) = size(&job.writes);
        let mut inner = self.lock();
        loop {
            if inner.closed {
                return Err(NotTaken::Closed);
            }
            // A job larger than the queue is taken when the queue is empty, or it would wait for ever.
            let fits = inner.rows + rows <= QUEUE_ROWS_MAX && inner.bytes + bytes <= QUEUE_BYTES_MAX;
            if fits || inner.jobs.is_empty() {
                break;
            }
            if !wait {
                return Err(NotTaken::Full);
            }
            inner = self.emptied.wait(inner).unwrap_or_else(PoisonError::into_inner);
        }
        inner.rows += rows;
        inner.bytes += bytes;
        inner.jobs.push_back(job);
        self.filled.notify_one();
        Ok(())
    }

    /// Takes whatever waits, at least `rows_max` rows' worth of whole jobs where there are as many. Empty after
    /// `idle` without any; none once the queue is closed and empty.
    pub(super) fn take(&self, rows_max: usize, idle: Duration) -> Option<Vec<Job>> {
        let mut inner = self.lock();
        if inner.jobs.is_empty() && !inner.closed {
            let waited = self.filled.wait_timeout(inner, idle);
            inner = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
        if inner.jobs.is_empty() {
            return if inner.closed { None } else { Some(Vec::new()) };
        }
        let mut taken = Vec::new();
        let mut taken_rows = 0;
        while taken_rows < rows_max
            && let Some(job) = inner.jobs.pop_front()
        {
            let (rows, bytes) = size(&job.writes);
            inner.rows -= rows;
            inner.bytes -= bytes;
            taken_rows += rows;
            taken.push(job);
        }
        self.emptied.notify_all();
        Some(taken)
    }

    /// Takes no more jobs; those inside are still handed out.
    pub(super) fn close(&self) {
        self.lock().closed = true;
        self.filled.notify_all();
        self.emptied.notify_all();
    }

    /// Whether it was closed.
    pub(super) fn is_closed(&self) -> bool {
        self.lock().closed
    }

    /// Rows waiting.
    pub(super) fn rows(&self) -> usize {
        self.lock().rows
    }
}

fn size(writes: &[Write]) -> (usize, usize) {
    let bytes = writes.iter().map(|write| match write {
        Write::Block { block: Block::Raw { counts, .. }, .. } => 4 * counts.len(),
        _ => 256,
    });
    (writes.len().max(1), bytes.sum())
}
