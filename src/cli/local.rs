//! Opening the door: the daemon's socket where one listens, else the store under its lock with the
//! API's router in this process.
//!
//! The only place of the command line that opens a store. A verb that only reads makes no store.

use super::args::Common;
use super::door::{Door, daemon_listens};
use super::error::CliError;
use super::place::Place;
use super::unserved::Unserved;
use axum::Router;
use boltscribe_http::{State, router};
use boltscribe_store::{Mode, Store, open_read_only};
use std::sync::Arc;

/// The API in this process, for one command.
pub struct Local {
    router: Router,
    /// Holds the lock; none for a copy.
    store: Option<Store>,
}

impl Local {
    /// The router.
    pub fn router(&self) -> Router {
        self.router.clone()
    }

    /// Stores what waits and gives the lock back.
    pub fn close(self) {
        drop(self.router);
        if let Some(store) = self.store {
            store.close();
        }
    }
}

/// Opens the door of a verb; `may_create`: the verb fills the store, so an absent one is made.
///
/// # Errors
/// Wrong settings, a socket that does not let us in, a store that cannot be opened or is held by a process
/// that does not listen.
pub async fn open_door(common: &Common, may_create: bool) -> Result<Door, CliError> {
    let place = Place::find(common)?;
    if place.copy.is_none() && daemon_listens(&place.socket).await? {
        return Ok(Door::Socket(place.socket));
    }
    let unserved = Arc::new(Unserved::new(&place.rigs));
    let (readers, store) = match &place.copy {
        Some(copy) => (open_read_only(copy)?, None),
        None => {
            let mode = if may_create { Mode::Create } else { Mode::Existing };
            let store = Store::open(&place.folder, mode)?;
            (store.readers(), Some(store))
        }
    };
    unserved.take_up(&readers)?;
    let state = State {
        readers,
        writer: store.as_ref().map(Store::writer),
        rigs: unserved,
        now_utc_ns: Arc::new(now_utc_ns),
        zone: place.zone,
        limits: place.limits.into(),
        turns: Default::default(),
        trial_lines: Default::default(),
    };
    Ok(Door::InProcess(Box::new(Local { router: router(state), store })))
}

/// The time of day of the one command that runs without a daemon; it dates what a person says.
pub(super) fn now_utc_ns() -> i64 {
    i64::try_from(jiff::Timestamp::now().as_nanosecond()).unwrap_or(i64::MAX)
}
