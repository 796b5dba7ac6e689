//! The store: SQLite with one writer, readers, packed samples, and the check of it all.
//!
//! Knows the pure rooms' types; must not know the network, HTML or settings files. It reads no clock:
//! wall times come with the rows. The schema is `schema.sql`; its views are for any SQLite client.

pub mod check;
pub mod codec;
pub mod error;
mod insert;
mod insert_block;
mod insert_run;
pub mod lock;
pub mod migrate;
pub mod open;
mod queue;
pub mod reader;
pub mod reader_export;
pub mod reader_runs;
pub mod reader_samples;
mod settle;
pub mod trace;
mod unfinished;
pub mod write;
pub mod writer;

pub use check::CheckReport;
pub use codec::RawBlock;
pub use error::StoreError;
pub use open::{Mode, Readers, STORE_NAME, Store, open_read_only, sqlite_version};
pub use reader::{EventRow, Reader, ShelfRow};
pub use reader_export::{BlowExport, RunExport};
pub use reader_runs::{CorrectionRow, GateLine, RunDetail, RunFilter, RunLine};
pub use reader_samples::{IdleBlock, RunSpan, StreamSpan};
pub use trace::RunTrace;
pub use write::{
    Correction, InForceRow, NewTags, Outcome, Refused, RunId, ShelfKind, StreamId, Unfinished, Write, Written,
};
pub use writer::{Health, Pending, SendError, Writer};
