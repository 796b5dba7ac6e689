//! Forwarding: what the store holds of runs, to a central time-series store that many rigs share.
//!
//! Knows the store's outbox and nothing else of this program; must not know pipelines or the page.

pub mod line;

pub use line::{LineError, Point, Value};
