//! How things are, as it is shown: the short status, and all that a bug report needs.
//!
//! Types of answers only; what they hold is gathered by [`super::health`].

use super::forward::ForwardStatus;
use super::rigs::{Link, PortState, RigState};
use boltscribe_store::facts::Facts;
use boltscribe_store::{EventRow, Health};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use utoipa::ToSchema;

/// How things are, in short.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Status)]
pub struct StatusShown {
    /// Version of the program.
    pub version: &'static str,
    /// It brings the page for browsers.
    pub page_built: bool,
    /// The time of day, nanoseconds since 1970 UTC.
    pub utc_ns: i64,
    /// Runs in the store.
    pub runs: u64,
    /// How writing goes; null where a copy was opened read-only.
    pub writer: Option<Health>,
    /// The rigs, in the order of the settings.
    pub rigs: Vec<RigShort>,
}

/// A rig in short.
#[derive(Debug, Serialize, ToSchema)]
pub struct RigShort {
    /// Its name.
    pub rig: String,
    /// State of its line.
    pub link: Link,
    /// Nothing comes from it.
    pub stale: bool,
    /// The device says that it invents its counts: a simulation.
    pub simulated: bool,
}

/// All that a bug report needs.
#[derive(Debug, Serialize, ToSchema)]
pub struct Doctor {
    /// Version of the program.
    pub version: &'static str,
    /// Version of SQLite.
    pub sqlite: &'static str,
    /// Version of the schema that this program writes.
    pub schema_version: u32,
    /// The store.
    pub store: StoreSeen,
    /// Number of the process.
    pub process: u32,
    /// Bounds of queues.
    pub limits: QueueLimits,
    /// The serial ports of this machine.
    pub ports: Vec<PortState>,
    /// How writing goes; null where a copy was opened read-only.
    pub writer: Option<Health>,
    /// The rigs, in the order of the settings.
    pub rigs: Vec<RigState>,
    /// Counters of the daemon, by the name that `/metrics` gives them.
    pub counters: BTreeMap<String, u64>,
    /// Versions, addresses, permissions: by name.
    pub facts: BTreeMap<String, String>,
    /// How forwarding goes.
    pub forward: ForwardStatus,
    /// The latest events, at most 50, newest first.
    pub events: Vec<EventRow>,
}

/// The store as a file.
#[derive(Debug, Serialize, ToSchema)]
pub struct StoreSeen {
    /// Its path.
    #[schema(value_type = String)]
    pub path: PathBuf,
    /// Its bytes.
    pub bytes: u64,
    /// Bytes of its write-ahead log.
    pub log_bytes: u64,
    /// Runs in it.
    pub runs: u64,
    /// It can be written.
    pub writable: bool,
    /// Bytes that are free on its disk; null where the system does not tell.
    pub disk_free_bytes: Option<u64>,
    /// What is in it.
    pub facts: Facts,
}

/// Bounds of queues.
#[derive(Debug, Serialize, ToSchema)]
pub struct QueueLimits {
    /// Most rows that wait for the store.
    pub store_queue_rows: usize,
    /// Most bytes of them.
    pub store_queue_bytes: usize,
}
