//! Rows out of the store: which columns there are, and how they are written as CSV, JSON lines, line protocol and
//! Parquet.
//!
//! A row comes as a document of the API's streams and leaves through a sink, one at a time, so any amount goes
//! through in bounded memory. Must not know the daemon, the network, or who asked.

pub mod blows;
pub mod captures;
pub mod csv;
pub mod json_lines;
#[cfg(feature = "parquet")]
pub mod parquet;
pub mod points;
pub mod range;
pub mod runs;
pub mod samples;
pub mod sink;
pub mod stream;
pub mod table;
pub mod target;
pub mod trace;

pub use sink::{Kind, Sink, SinkError};
pub use stream::Line;
pub use table::{Cell, Column, Form, Table, When};
pub use target::{Target, TargetError};
