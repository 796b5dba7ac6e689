//! The one writer: a thread that owns the writing connection and its checkpoints.
//!
//! Whatever waits in the queue is stored in one transaction with a synchronous commit; replies go out
//! after it. While the store cannot be written (disk full, a failing disk) the rows stay in memory and
//! are tried again; a failure shows in [`Health`].

use super::audit::Recorder;
use super::insert;
use super::queue::{Job, NotTaken, Queue};
use super::write::{Outcome, Refused, Write};
use rusqlite::{Connection, ErrorCode};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{oneshot, watch};
use utoipa::ToSchema;

/// Most rows in one transaction (whole jobs are taken, so the last one may pass it).
const BATCH_ROWS_MAX: usize = 4096;
/// A checkpoint is made after this many transactions, or when nothing is to do.
const CHECKPOINT_EVERY: u32 = 64;
/// Frames in the write-ahead log from which readers are waited for to cut it: 64 MiB of 4 KiB pages.
const WAL_FRAMES_MAX: i64 = 16_384;
const IDLE: Duration = Duration::from_secs(1);
const RETRY: Duration = Duration::from_millis(200);
/// After closing, so many more tries: two seconds.
const LAST_TRIES: u32 = 10;

/// How the writer is doing.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, ToSchema)]
#[schema(as = WriterHealth)]
pub struct Health {
    /// Rows waiting in memory.
    pub waiting: u64,
    /// Rows handed over since the start.
    pub queued: u64,
    /// Rows in committed transactions.
    pub committed: u64,
    /// Transactions committed.
    pub commits: u64,
    /// Rows not stored, by reason.
    pub refused: BTreeMap<String, u64>,
    /// Tries to commit that failed.
    pub failed_commits: u64,
    /// What the store says while it cannot be written; rows wait in memory.
    pub failing: Option<String>,
}

/// Why rows were not handed over.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// The queue is full; the rows were not taken and are counted as refused.
    #[error("cannot store {rows} rows of rig '{rig}': expected room in the queue, found it full")]
    Full {
        /// Whose.
        rig: String,
        /// How many.
        rows: usize,
    },
    /// The writer has ended.
    #[error("cannot store {rows} rows of rig '{rig}': expected a running writer, found it ended")]
    Closed {
        /// Whose.
        rig: String,
        /// How many.
        rows: usize,
    },
}

/// A handle to the writer; cheap to clone.
#[derive(Clone)]
pub struct Writer {
    pub(super) shared: Arc<Shared>,
}

#[derive(Default)]
pub(super) struct Shared {
    pub(super) queue: Queue,
    health: Mutex<Health>,
    trials_moved: watch::Sender<u64>,
}

impl Shared {
    fn count(&self, change: impl FnOnce(&mut Health)) {
        change(&mut self.health.lock().unwrap_or_else(PoisonError::into_inner));
    }
}

/// An answer that comes after the commit: one [`Outcome`] for each write, in order.
pub struct Pending {
    reply: oneshot::Receiver<Vec<Outcome>>,
    lost: SendError,
}

impl Pending {
    /// Waits for it.
    ///
    /// # Errors
    /// The writer ended before the rows were stored.
    pub async fn wait(self) -> Result<Vec<Outcome>, SendError> {
        self.reply.await.map_err(|_| self.lost)
    }

    /// Waits for it outside of an async task.
    ///
    /// # Errors
    /// The writer ended before the rows were stored.
    pub fn wait_blocking(self) -> Result<Vec<Outcome>, SendError> {
        self.reply.blocking_recv().map_err(|_| self.lost)
    }
}

impl Writer {
    /// Hands rows over without waiting for the commit; waits while the queue is full. Outside of async
    /// tasks. Rows that are refused later are counted in [`Health::refused`].
    ///
    /// # Errors
    /// The writer has ended.
    pub fn send(&self, rig: &str, writes: Vec<Write>) -> Result<(), SendError> {
        self.put(rig, writes, None, true)
    }

    /// Hands rows over if there is room at once.
    ///
    /// # Errors
    /// The queue is full (counted), or the writer has ended.
    pub fn try_send(&self, rig: &str, writes: Vec<Write>) -> Result<(), SendError> {
        self.put(rig, writes, None, false)
    }

    /// Hands rows over if there is room at once, and gives the answer that comes after the commit. The rows are stored
    /// in one transaction; each is taken or refused on its own.
    ///
    /// # Errors
    /// The queue is full (counted), or the writer has ended.
    pub fn submit(&self, rig: &str, writes: Vec<Write>) -> Result<Pending, SendError> {
        let (sender, reply) = oneshot::channel();
        let lost = SendError::Closed { rig: rig.to_owned(), rows: writes.len() };
        self.put(rig, writes, Some(sender), false)?;
        Ok(Pending { reply, lost })
    }

    /// Stores one row and waits for the commit. Outside of async tasks.
    ///
    /// # Errors
    /// As [`Writer::submit`]; the inner result is the row's.
    pub fn store(&self, rig: &str, write: Write) -> Result<Outcome, SendError> {
        let mut outcomes = self.submit(rig, vec![write])?.wait_blocking()?;
        Ok(outcomes.pop().unwrap_or(Ok(super::Written::Row)))
    }

    /// Counts the commits after which another step of a trial may come next. It cannot lag: whoever looks late finds
    /// the newest count, and then the store as it is.
    #[must_use]
    pub fn trials_moved(&self) -> watch::Receiver<u64> {
        self.shared.trials_moved.subscribe()
    }

    /// How the writer is doing.
    #[must_use]
    pub fn health(&self) -> Health {
        let mut health = self.shared.health.lock().unwrap_or_else(PoisonError::into_inner).clone();
        health.waiting = self.shared.queue.rows() as u64;
        health
    }

    fn put(
        &self,
        rig: &str,
        writes: Vec<Write>,
        reply: Option<oneshot::Sender<Vec<Outcome>>>,
        wait: bool,
    ) -> Result<(), SendError> {
        let rows = writes.len();
        let job = Job { rig: rig.to_owned(), writes, reply };
        // Counted before it is put in, so that at no time more is committed than was queued.
        self.shared.count(|health| health.queued += rows as u64);
        self.shared.queue.put(job, wait).map_err(|not_taken| {
            let rig = rig.to_owned();
            let (reason, error) = match not_taken {
                NotTaken::Full => ("queue-full", SendError::Full { rig, rows }),
                NotTaken::Closed => ("writer-ended", SendError::Closed { rig, rows }),
            };
            self.shared.count(|health| *health.refused.entry(reason.to_owned()).or_default() += rows as u64);
            error
        })
    }
}

/// The thread's work: until the queue is closed and empty.
pub(super) fn run(shared: &Shared, connection: &Connection, recorder: &Recorder) {
    let mut since_checkpoint = 0;
    while let Some(jobs) = shared.queue.take(BATCH_ROWS_MAX, IDLE) {
        if jobs.is_empty() {
            if since_checkpoint > 0 {
                checkpoint(connection);
                since_checkpoint = 0;
            }
            continue;
        }
        if let Some(outcomes) = commit_with_retries(shared, (connection, recorder), &jobs) {
            answer(shared, jobs, outcomes);
            since_checkpoint += 1;
        } else {
            give_up(shared, jobs);
        }
        if since_checkpoint >= CHECKPOINT_EVERY {
            checkpoint(connection);
            since_checkpoint = 0;
        }
    }
}

fn commit_with_retries(
    shared: &Shared,
    (connection, recorder): (&Connection, &Recorder),
    jobs: &[Job],
) -> Option<Vec<Vec<Outcome>>> {
    let mut last_tries = 0;
    loop {
        match commit(connection, recorder, jobs) {
            Ok(outcomes) => {
                shared.count(|health| health.failing = None);
                return Some(outcomes);
            }
            Err(error) => {
                shared.count(|health| {
                    health.failed_commits += 1;
                    health.failing = Some(error.to_string());
                });
                if shared.queue.is_closed() {
                    last_tries += 1;
                    if last_tries > LAST_TRIES {
                        return None;
                    }
                }
                std::thread::sleep(RETRY);
            }
        }
    }
}

fn commit(connection: &Connection, recorder: &Recorder, jobs: &[Job]) -> rusqlite::Result<Vec<Vec<Outcome>>> {
    let transaction = |sql: &str| connection.prepare_cached(sql)?.execute([]).map(|_| ());
    recorder.forget();
    transaction("BEGIN IMMEDIATE")?;
    let all: rusqlite::Result<Vec<Vec<Outcome>>> = jobs
        .iter()
        .map(|job| job.writes.iter().map(|write| one(connection, &job.rig, write)).collect())
        .collect();
    let linked = all.and_then(|outcomes| recorder.link(connection).map(|()| outcomes));
    match linked.and_then(|outcomes| transaction("COMMIT").map(|()| outcomes)) {
        Ok(outcomes) => Ok(outcomes),
        Err(error) => {
            // SQLite may have rolled back by itself; then this says so and changes nothing.
            if !connection.is_autocommit() {
                let _ = connection.execute_batch("ROLLBACK");
            }
            Err(error)
        }
    }
}

/// Stores one row or refuses it without a trace; only the store's own failures go out as errors.
fn one(connection: &Connection, rig: &str, write: &Write) -> rusqlite::Result<Outcome> {
    let savepoint = |sql: &str| connection.prepare_cached(sql)?.execute([]).map(|_| ());
    savepoint("SAVEPOINT one")?;
    let outcome = match insert::apply(connection, rig, write) {
        Ok(outcome) => outcome,
        Err(error) => Err(refusal(error, write)?),
    };
    if outcome.is_err() {
        savepoint("ROLLBACK TO one")?;
    }
    savepoint("RELEASE one")?;
    Ok(outcome)
}

/// What SQLite holds against one row; everything else is the store's failure.
pub(super) fn refusal(error: rusqlite::Error, write: &Write) -> rusqlite::Result<Refused> {
    let what = name(write).to_owned();
    let extended = match &error {
        rusqlite::Error::SqliteFailure(failure, _) if failure.code == ErrorCode::ConstraintViolation => {
            failure.extended_code
        }
        rusqlite::Error::ToSqlConversionFailure(_) => 0,
        _ => return Err(error),
    };
    Ok(match extended {
        rusqlite::ffi::SQLITE_CONSTRAINT_UNIQUE | rusqlite::ffi::SQLITE_CONSTRAINT_PRIMARYKEY => {
            Refused::Duplicate(what)
        }
        rusqlite::ffi::SQLITE_CONSTRAINT_FOREIGNKEY => {
            Refused::Unknown { what, of: "what it belongs to".to_owned() }
        }
        _ => Refused::Row { what, detail: error.to_string() },
    })
}

fn name(write: &Write) -> &'static str {
    match write {
        Write::Stream { .. } => "a stream",
        Write::Identity { .. } => "an identity",
        Write::Run { .. } | Write::Recovered { .. } => "a run",
        Write::Reading { .. } => "a reading by hand",
        Write::BrokeOff { .. } => "the end of a stream",
        Write::Block { .. } => "a block of samples",
        Write::Command { .. } => "a command",
        Write::Zero { .. } => "a zero",
        Write::Rest { .. } => "where a rig rests",
        Write::Shelf { .. } => "a document of the shelf",
        Write::Calibration { .. } => "a calibration",
        Write::Trial { .. } => "a trial",
        Write::TrialEntry { .. } => "an entry of a trial",
        Write::Correct { .. } => "a correction",
        Write::Event { .. } => "an event",
        Write::Recompute(_) => "a run measured again",
        Write::Prune(_) => "a pruning",
        Write::Outbox(_) => "a change of the outbox",
        Write::Many(_) => "rows that belong together",
    }
}

fn answer(shared: &Shared, jobs: Vec<Job>, outcomes: Vec<Vec<Outcome>>) {
    shared.count(|health| {
        health.commits += 1;
        for outcome in outcomes.iter().flatten() {
            match outcome {
                Ok(_) => health.committed += 1,
                Err(refused) => *health.refused.entry(refused.reason().to_owned()).or_default() += 1,
            }
        }
    });
    if jobs.iter().flat_map(|job| &job.writes).any(Write::moves_trials) {
        shared.trials_moved.send_modify(|count| *count += 1);
    }
    for (job, outcome) in jobs.into_iter().zip(outcomes) {
        if let Some(reply) = job.reply {
            // Who asked may have gone away; the rows are stored all the same.
            let _ = reply.send(outcome);
        }
    }
}

/// The store failed to the end: what waits is lost, and counted. Dropping a reply tells who waits.
fn give_up(shared: &Shared, jobs: Vec<Job>) {
    let rows: usize = jobs.iter().map(|job| job.writes.len()).sum();
    shared.count(|health| *health.refused.entry("store-failed".to_owned()).or_default() += rows as u64);
}

/// Moves the log into the store as far as readers allow; a failure shows at the next commit.
fn checkpoint(connection: &Connection) {
    let log: rusqlite::Result<i64> =
        connection.query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |row| row.get(1));
    if log.is_ok_and(|frames| frames > WAL_FRAMES_MAX) {
        let _ = connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()));
    }
}
