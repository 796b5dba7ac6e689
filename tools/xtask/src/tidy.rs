//! `cargo xtask tidy`: the rules of the house.

use crate::error::Failed;

/// Holds the rules against the tree.
pub fn run() -> Result<(), Failed> {
    Err(Failed::no("there is no tidy yet"))
}
