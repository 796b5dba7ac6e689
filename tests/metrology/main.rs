//! Metrology held against published values: each module names its source beside its numbers.
//!
//! Every comparison with something outside this repository goes through `support::Checks`, which counts;
//! `cargo verify` sums the counts. Data sets of NIST stand in `nist/` with their certified values.

// Helpers of a test fail like the test itself; published values keep the digits they were printed with.
#![allow(clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::excessive_precision, clippy::inconsistent_digit_grouping)]

mod calibration;
mod distributions;
mod friction;
mod nist_linear;
mod nist_spread;
mod support;
mod threads;
mod uncertainty;
