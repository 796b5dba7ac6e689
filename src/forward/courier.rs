//! The one who carries: rows of the outbox in order, one request at a time, tried again for ever.
//!
//! A row leaves the outbox only once it is safe. Servers say yes before data are on their disk, so a row rests
//! for the settle time after the yes; if the server was restarted meanwhile, or may have been, all rows that
//! rested are sent again, which changes nothing where they arrived. What rests is known in memory only: after a
//! restart of this program it is sent again too. Must not know pipelines, the page, or which clock it is given.

use super::answer::Answer;
use super::backoff::Backoff;
use super::batch::{Batch, Stop, deliver};
use super::settings::Settings;
use super::state::{Board, Condition};
use super::transport::{Start, Transport};
use boltscribe_model::time::MonoNs;
use boltscribe_store::{OutboxWrite, Reader, Readers, StoreError, Write, Writer};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// The outbox is looked at this often while there is nothing to do.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// The server is asked for its start this often while rows rest.
const ASK_EVERY_NS: u64 = 5_000_000_000;
/// Most rows that rest; more are not sent until some are safe.
pub const RESTING_MAX: u64 = 100_000;
/// Batches that must go well before a limit halved by a 413 is doubled again.
const GOOD_BATCHES: u32 = 64;

/// One moment on both clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Now {
    /// Monotonic.
    pub mono: MonoNs,
    /// Nanoseconds since 1970 UTC.
    pub utc_ns: i64,
}

/// Gives the present moment.
pub type Clock = Arc<dyn Fn() -> Now + Send + Sync>;

/// What it works with.
pub struct Wires {
    /// Reads the outbox.
    pub readers: Readers,
    /// Writes it.
    pub writer: Writer,
    /// Both clocks.
    pub clock: Clock,
    /// Where its state is shown.
    pub board: Board,
    /// A call to try at once.
    pub wake: Arc<Notify>,
    /// True: the end.
    pub stop: watch::Receiver<bool>,
}

/// Rows that the server took and that are not safe yet.
struct Resting {
    first: i64,
    last: i64,
    rows: u64,
    taken: MonoNs,
    /// The server's start as told before they were sent.
    start: Start,
}

/// The carrier.
pub struct Courier<T> {
    pub(super) transport: T,
    pub(super) wires: Wires,
    settings: Settings,
    reader: Arc<Mutex<Option<Reader>>>,
    /// Rows up to this number were sent.
    cursor: i64,
    resting: VecDeque<Resting>,
    start: Start,
    asked: Option<MonoNs>,
    failed: Option<MonoNs>,
    backoff: Backoff,
    random: fastrand::Rng,
    /// Most rows in a batch at present.
    pub(super) limit: u32,
    good_batches: u32,
}

impl<T: Transport> Courier<T> {
    /// Makes it; nothing is sent yet.
    #[must_use]
    pub fn new(transport: T, settings: Settings, wires: Wires) -> Self {
        Self {
            limit: settings.batch_max,
            transport,
            wires,
            settings,
            reader: Arc::default(),
            cursor: 0,
            resting: VecDeque::new(),
            start: Start::Away,
            asked: None,
            failed: None,
            backoff: Backoff::default(),
            random: fastrand::Rng::new(),
            good_batches: 0,
        }
    }

    /// Carries until it is told to stop. A request under way is dropped then: its rows are still in the outbox.
    pub async fn run(mut self) {
        let mut stop = self.wires.stop.clone();
        let wake = Arc::clone(&self.wires.wake);
        let ended = async move {
            // An error means that nobody is left to say stop, which is the end as well.
            let _ = stop.wait_for(|stop| *stop).await;
        };
        tokio::pin!(ended);
        loop {
            let wait = tokio::select! {
                wait = self.step() => wait,
                () = &mut ended => return,
            };
            tokio::select! {
                () = tokio::time::sleep(wait) => {}
                () = wake.notified() => {}
                () = &mut ended => return,
            }
        }
    }

    /// One batch, or one look; gives how long to wait before the next.
    pub async fn step(&mut self) -> Duration {
        match self.work().await {
            Ok(more) => {
                self.backoff.reset();
                if more { Duration::ZERO } else { LOOK_EVERY }
            }
            Err(stop) => self.trouble(stop),
        }
    }

    /// Whether there is more to do at once.
    async fn work(&mut self) -> Result<bool, Stop> {
        self.ask_while_resting().await;
        self.settle().await?;
        if self.resting_rows() >= RESTING_MAX {
            return Ok(false);
        }
        let batch = self.read().await?;
        let Some((first, last)) = batch.ends() else {
            return Ok(false);
        };
        // Asked before sending: a start that is told too early only makes rows be sent once more.
        let now = (self.wires.clock)().mono;
        if self.asked.is_none_or(|at| now.since_ns(at) >= ASK_EVERY_NS) {
            self.ask().await;
        }
        let start = self.start;
        deliver(self, &batch).await?;
        let taken = (self.wires.clock)().mono;
        self.resting.push_back(Resting { first, last, rows: batch.rows(), taken, start });
        self.cursor = last;
        self.went_well();
        Ok(true)
    }

    /// The next rows. The connection is kept while nothing goes wrong; between reads it holds up nobody.
    async fn read(&mut self) -> Result<Batch, Stop> {
        let (readers, kept) = (self.wires.readers.clone(), Arc::clone(&self.reader));
        let (cursor, limit) = (self.cursor, self.limit);
        let read = tokio::task::spawn_blocking(move || {
            let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
            let reader = kept.take().map_or_else(|| readers.reader(), Ok)?;
            let rows = reader.outbox(cursor, limit)?;
            *kept = Some(reader);
            Ok::<_, StoreError>(Batch::of(rows))
        });
        let read = read.await.map_err(|e| Stop::Here(format!("reading the outbox broke off: {e}")))?;
        read.map_err(|e| Stop::Here(e.to_string()))
    }

    fn went_well(&mut self) {
        self.good_batches += 1;
        if self.good_batches >= GOOD_BATCHES {
            self.good_batches = 0;
            self.limit = self.limit.saturating_mul(2).min(self.settings.batch_max);
        }
        let unsettled = self.resting_rows();
        self.wires.board.change(|state| state.unsettled = unsettled);
        self.enter(Condition::Good, None);
    }

    fn resting_rows(&self) -> u64 {
        self.resting.iter().map(|batch| batch.rows).sum()
    }

    async fn ask_while_resting(&mut self) {
        let now = (self.wires.clock)().mono;
        if !self.resting.is_empty() && self.asked.is_none_or(|at| now.since_ns(at) >= ASK_EVERY_NS) {
            self.ask().await;
        }
    }

    /// Asks the server for its start. Another one than before means that what rested may be lost.
    async fn ask(&mut self) {
        let start = self.transport.start().await;
        let now = (self.wires.clock)();
        self.asked = Some(now.mono);
        match start {
            Start::At(at) => {
                let other = |batch: &Resting| matches!(batch.start, Start::At(before) if before != at);
                if self.resting.iter().any(other) {
                    self.forget("it was restarted").await;
                }
            }
            Start::Untold => {}
            Start::Away => self.failed = Some(now.mono),
        }
        self.start = start;
        self.wires.board.change(|state| state.tells_start = matches!(start, Start::At(_)));
    }

    /// Takes rows out of the outbox whose time of rest is over and that nothing happened to.
    async fn settle(&mut self) -> Result<(), Stop> {
        let settle_ns = u64::from(self.settings.settle_s) * 1_000_000_000;
        while let Some(batch) = self.resting.front() {
            let due = MonoNs(batch.taken.0 + settle_ns);
            if (self.wires.clock)().mono < due {
                break;
            }
            // What the server tells must have been asked for after the rest, or it says nothing about it.
            if self.asked.is_none_or(|at| at < due) {
                self.ask().await;
                continue;
            }
            match (batch.start, self.start) {
                (_, Start::Away) => break,
                // Another start was found in `ask` and has emptied the list.
                (Start::At(_), Start::At(_)) => {}
                _ if self.failed.is_some_and(|at| at >= batch.taken) => {
                    self.forget("it was away for a while, and does not tell whether it was restarted").await;
                    break;
                }
                _ => {}
            }
            let (first, last) = (batch.first, batch.last);
            self.store(Write::Outbox(OutboxWrite::Delivered { first, last })).await?;
            self.resting.pop_front();
            let unsettled = self.resting_rows();
            self.wires.board.change(|state| state.unsettled = unsettled);
        }
        Ok(())
    }

    /// Everything that rested is sent again.
    async fn forget(&mut self, why: &str) {
        let rows = self.resting_rows();
        self.resting.clear();
        self.cursor = 0;
        self.wires.board.change(|state| {
            state.restarts += 1;
            state.unsettled = 0;
        });
        self.event("forward-again", format!("{rows} rows are sent to the central store again: {why}"));
    }

    /// Stores a change and waits for its commit.
    pub(super) async fn store(&self, write: Write) -> Result<(), Stop> {
        let here = |e: &dyn std::fmt::Display| Stop::Here(e.to_string());
        let pending = self.wires.writer.submit("", vec![write]).map_err(|e| here(&e))?;
        for outcome in pending.wait().await.map_err(|e| here(&e))? {
            outcome.map_err(|e| here(&e))?;
        }
        Ok(())
    }

    /// Keeps an event; where the store's queue is full, the log and the state still tell.
    pub(super) fn event(&self, kind: &str, detail: String) {
        tracing::warn!("{kind}: {detail}");
        let utc_ns = (self.wires.clock)().utc_ns;
        let _ = self.wires.writer.try_send("", vec![Write::Event { utc_ns, kind: kind.to_owned(), detail }]);
    }

    fn trouble(&mut self, stop: Stop) -> Duration {
        let unit = self.random.f64();
        self.good_batches = 0;
        let (condition, words, wait) = match stop {
            Stop::Server(Answer::Busy(words)) => (Condition::Retrying, words, self.backoff.after_busy(unit)),
            Stop::Server(Answer::Denied(words) | Answer::Refused(words) | Answer::TooLarge(words)) => {
                (Condition::Alarm, words, self.backoff.after_failure(unit))
            }
            Stop::Server(Answer::Failed(words)) => {
                self.failed = Some((self.wires.clock)().mono);
                // It may come back as another process.
                self.asked = None;
                (Condition::Retrying, words, self.backoff.after_failure(unit))
            }
            Stop::Server(Answer::Taken) => (Condition::Good, String::new(), LOOK_EVERY),
            Stop::Here(words) => (Condition::Retrying, words, self.backoff.after_failure(unit)),
        };
        self.wires.board.change(|state| state.failures += 1);
        self.enter(condition, Some(words));
        wait
    }

    /// A change of condition is kept as an event; the same trouble again is not.
    fn enter(&self, condition: Condition, trouble: Option<String>) {
        let before = self.wires.board.now().condition;
        let utc_ns = (self.wires.clock)().utc_ns;
        self.wires.board.change(|state| {
            state.trouble.clone_from(&trouble);
            if state.condition != condition {
                state.condition = condition;
                state.since_utc_ns = utc_ns;
            }
        });
        if before != condition {
            let kind = format!("forward-{}", condition.word());
            self.event(&kind, trouble.unwrap_or_else(|| "the central store takes what is sent".to_owned()));
        }
    }
}
