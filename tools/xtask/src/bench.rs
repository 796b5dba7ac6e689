//! `cargo xtask bench`: figures as ratios from one run.

use crate::error::Failed;

/// Runs the benches.
pub fn run(_words: &[String]) -> Result<(), Failed> {
    Err(Failed::no("there is no bench yet"))
}
