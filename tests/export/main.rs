//! Getting everything out, through the real program: what the files hold, and what becomes of a file on the way.
//!
//! The store is filled with replayed recordings and invented runs; no port and no clock is involved.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::disallowed_methods)]

mod captures;
mod daemon;
mod desk;
mod files;
#[cfg(feature = "parquet")]
mod parquet;
#[cfg(feature = "parquet")]
mod python;
#[path = "../store/sample.rs"]
#[allow(dead_code)]
mod sample;
mod simulated;
#[path = "../captures/support.rs"]
#[allow(dead_code)]
mod support;
mod tables;
mod traces;
