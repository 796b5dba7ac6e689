//! Metrology held against published values: each module names its source beside its numbers.
//!
//! Every comparison with something outside this repository goes through `support::Checks`, which counts;
//! `cargo verify` sums the counts. Data sets of NIST stand in `nist/` with their certified values.

mod calibration;
mod distributions;
mod friction;
mod nist_linear;
mod nist_spread;
mod support;
mod threads;
mod uncertainty;
