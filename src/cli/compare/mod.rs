//! `compare FILE|TRIAL`: what each setup gives in percent of a baseline, and whether the difference is real.
//!
//! Reads a table of readings, hands them to `compare`, shows the answer. Trials come
//! through the API.

mod pieces;
mod read;
mod rows;
mod talk;
mod verb;

pub use verb::{Args, run, run_trial};
