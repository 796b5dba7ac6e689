//! Files in and out as named columns with line numbers: traces, readings, loads of a calibration, any two columns.
//!
//! Text in, numbers out; opening the file is the caller's. Must not know the store or the network.

pub mod columns;
pub mod loads;
pub mod measured;
#[cfg(feature = "parquet")]
pub mod parquet;
pub mod readings;
pub mod records;
pub mod spacing;
pub mod trace;

pub use columns::{Columns, ColumnsError};
pub use loads::{Load, LoadUnit, Loads, LoadsError, read_loads};
pub use measured::{Measured, measure_trace};
#[cfg(feature = "parquet")]
pub use parquet::read_parquet;
pub use readings::{Quantity, Reading, Readings, ReadingsError, read_readings};
pub use trace::{Trace, TraceError, TraceUnit, read_trace};
