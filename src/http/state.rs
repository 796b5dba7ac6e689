//! What every request gets: readers, the writer, the rigs, and the time of day as a given value.
//!
//! Reading happens on threads that may block; a change waits for its commit. Must not know HTTP paths.

use super::problem::Problem;
use super::rigs::{RigState, Rigs};
use super::trial_lines::TrialLines;
use axum::http::StatusCode;
use boltscribe_analysis::compare::ClassLimit;
use boltscribe_model::time::day_utc;
use boltscribe_store::{Reader, Readers, StoreError, Write, Writer, Written};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::OwnedMutexGuard;

/// Gives the wall time in nanoseconds since 1970 UTC.
pub type Clock = Arc<dyn Fn() -> i64 + Send + Sync>;

/// Shared by all requests; cheap to clone.
#[derive(Clone)]
pub struct State {
    /// Makes readers of the store.
    pub readers: Readers,
    /// Writes to it; none: a copy was opened read-only, and changes are refused.
    pub writer: Option<Writer>,
    /// Whoever runs the rigs.
    pub rigs: Arc<dyn Rigs>,
    /// The time of day.
    pub now_utc_ns: Clock,
    /// Where a day begins for the people at the rigs.
    pub zone: TimeZone,
    /// What tools of a class must give.
    pub limits: Arc<[ClassLimit]>,
    /// Whose turn it is at each rig.
    pub turns: Turns,
    /// Trials in short, as far as they were worked out.
    pub trial_lines: TrialLines,
}

/// One at a time speaks of what is in force at a rig: what he has read of it must still hold when it is stored, and
/// the rig must hear words in the order they are stored in.
#[derive(Clone, Default)]
pub struct Turns(Arc<Mutex<HashMap<String, Arc<tokio::sync::Mutex<()>>>>>);

impl State {
    /// Reads on a thread that may block.
    ///
    /// # Errors
    /// The store's, or the reading's own.
    pub async fn read<T, E>(
        &self,
        work: impl FnOnce(&Reader) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem>
    where
        T: Send + 'static,
        E: Into<Problem> + Send + 'static,
    {
        let readers = self.readers.clone();
        let done = tokio::task::spawn_blocking(move || {
            let reader = readers.reader().map_err(|error: StoreError| Problem::from(error))?;
            work(&reader).map_err(Into::into)
        });
        done.await.unwrap_or_else(|error| {
            let detail = format!("reading the store broke off: {error}");
            Err(Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail))
        })
    }

    /// Stores one row and waits for the commit.
    ///
    /// # Errors
    /// A read-only copy, a full queue, a refused row.
    pub async fn write(&self, rig: &str, write: Write) -> Result<Written, Problem> {
        let Some(writer) = &self.writer else {
            return Err(Problem::new(
                StatusCode::FORBIDDEN,
                format!(
                    "cannot change {}: expected a store, found a copy opened read-only",
                    self.readers.path().display()
                ),
            ));
        };
        let mut outcomes = writer.submit(rig, vec![write])?.wait().await?;
        Ok(outcomes.pop().unwrap_or(Ok(Written::Row))?)
    }

    /// Waits until nobody else speaks of what is in force at a rig; the turn ends with the guard.
    pub async fn turn(&self, rig: &str) -> OwnedMutexGuard<()> {
        let of_rig = {
            let mut turns = self.turns.0.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(turns.entry(rig.to_owned()).or_default())
        };
        of_rig.lock_owned().await
    }

    /// All rigs, with what stands at each in words.
    #[must_use]
    pub fn rig_states(&self) -> Vec<RigState> {
        let mut rigs = self.rigs.rigs();
        rigs.iter_mut().for_each(RigState::word_standing);
        // By name: a rig that is taken up again keeps its place.
        rigs.sort_by(|a, b| a.rig.cmp(&b.rig));
        rigs
    }

    /// The rig of this name.
    ///
    /// # Errors
    /// There is none; the names there are are told.
    pub fn rig(&self, name: &str) -> Result<RigState, Problem> {
        let rigs = self.rigs.rigs();
        let known: Vec<String> = rigs.iter().map(|rig| rig.rig.clone()).collect();
        rigs.into_iter().find(|rig| rig.rig == name).ok_or_else(|| {
            let found = if known.is_empty() { "no rig at all".to_owned() } else { known.join(", ") };
            Problem::not_found(format!("cannot find the rig '{name}': found {found}"))
        })
    }

    /// The time of day.
    #[must_use]
    pub fn now(&self) -> i64 {
        (self.now_utc_ns)()
    }

    /// The day, in UTC.
    #[must_use]
    pub fn today(&self) -> Date {
        day_utc(self.now())
    }
}
