//! How forwarding is doing, as shared with whoever shows it.
//!
//! Must not know who looks.

use std::sync::{Arc, Mutex, PoisonError};

/// In one word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Condition {
    /// Nothing was tried yet.
    #[default]
    Starting,
    /// The last try went well.
    Good,
    /// The server is away, busy or in trouble; it is tried again by itself.
    Retrying,
    /// Waiting alone will not help: address, token, organisation or bucket are wrong.
    Alarm,
}

impl Condition {
    /// The word shown to people.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Starting => "starting",
            Self::Good => "good",
            Self::Retrying => "retrying",
            Self::Alarm => "alarm",
        }
    }
}

/// How things are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    /// In one word.
    pub condition: Condition,
    /// Since when, nanoseconds since 1970 UTC.
    pub since_utc_ns: i64,
    /// What the last failure said; none while all is well.
    pub trouble: Option<String>,
    /// Rows that the server took and that are not safe yet.
    pub unsettled: u64,
    /// Requests made.
    pub requests: u64,
    /// Requests that failed.
    pub failures: u64,
    /// Restarts of the server seen while rows were not safe yet: they were sent again.
    pub restarts: u64,
    /// Whether the server tells when it started.
    pub tells_start: bool,
}

/// A place to look at it.
#[derive(Clone, Debug, Default)]
pub struct Board(Arc<Mutex<State>>);

impl Board {
    /// How things are now.
    #[must_use]
    pub fn now(&self) -> State {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(super) fn change(&self, change: impl FnOnce(&mut State)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }
}
