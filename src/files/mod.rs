//! Files in and out as named columns with line numbers: traces.
//!
//! Text in, numbers out; opening the file is the caller's. Must not know the store or the network.

pub mod measured;
#[cfg(feature = "parquet")]
pub mod parquet;
pub mod spacing;
pub mod trace;

pub use measured::{Measured, measure_trace};
#[cfg(feature = "parquet")]
pub use parquet::read_parquet;
pub use trace::{Trace, TraceError, TraceUnit, read_trace};
