//! Columns in and out: CSV and Parquet files, and line protocol.
//!
//! Must not know where the rows come from.

pub mod files;
pub mod line_protocol;
