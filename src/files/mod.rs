//! Files in and out as named columns with line numbers: traces, readings.
//!
//! Text in, numbers out; opening the file is the caller's. Must not know the store or the network.

pub mod measured;
pub mod readings;
pub mod spacing;
pub mod trace;

pub use measured::{Measured, measure_trace};
pub use readings::{Quantity, Reading, Readings, ReadingsError, read_readings};
pub use trace::{Trace, TraceError, TraceUnit, read_trace};
