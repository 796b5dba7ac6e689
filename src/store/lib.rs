//! The store: SQLite with one writer, readers, packed samples, and the check of it all.
//!
//! Knows the pure rooms' types; must not know the network, HTML or settings files. It reads no clock:
//! wall times come with the rows. The schema is `schema.sql`; its views are for any SQLite client.

mod audit;
pub mod backup;
mod bolt_due;
pub mod calibrations;
pub mod check;
mod check_columns;
pub mod codec;
pub mod error;
pub mod facts;
mod insert;
mod insert_block;
mod insert_reading;
mod insert_run;
pub mod lock;
pub mod migrate;
pub mod open;
pub mod outbox;
pub mod outbox_reader;
pub mod prune;
pub mod queue;
pub mod reader;
pub mod reader_export;
pub mod reader_runs;
pub mod reader_samples;
pub mod recompute;
pub mod restore;
mod settle;
pub mod shelf_as_of;
pub mod trace;
pub mod trial_runs;
pub mod trials;
mod unfinished;
pub mod uses;
pub mod verify;
pub mod write;
pub mod writer;

pub use calibrations::CalibrationRow;
pub use check::CheckReport;
pub use codec::RawBlock;
pub use error::StoreError;
pub use open::{Mode, Readers, STORE_NAME, Store, open_read_only, shrink, sqlite_version};
pub use outbox::OutboxWrite;
pub use outbox_reader::{OutboxItem, OutboxRow, OutboxStatus, QuarantineRow};
pub use prune::{Amount, PruneWrite, PruningId, Tombstone};
pub use reader::{EventRow, Reader, ShelfRow};
pub use reader_export::{BlowExport, RunExport};
pub use reader_runs::{CorrectionRow, GateLine, RunDetail, RunFilter, RunLine};
pub use reader_samples::{IdleBlock, RunSpan, StreamSpan};
pub use recompute::{NotRemeasurable, Remeasurable, Version};
pub use shelf_as_of::{AsOf, NamesAsOf};
pub use trace::RunTrace;
pub use trial_runs::{Mark, SpokenOf, TrialRun, Walked};
pub use trials::{TrialEntry, TrialRow};
pub use uses::Uses;
pub use verify::{Head, VerifyReport};
pub use write::{
    Correction, InForceRow, NewTags, Outcome, Recomputed, Refused, RunId, ShelfKind, StreamId, Unfinished,
    Write, Written,
};
pub use writer::{Health, Pending, SendError, Writer};
