//! Keeping the store: runs measured again, copies, restores, pruning, registers, the doctor.
//!
//! The real programs work on stores that hold runs of the recordings in `tests/captures`, dated long ago.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, clippy::disallowed_methods)]

mod audit;
mod backup;
mod desk;
mod doctor;
mod kills;
mod older;
mod prune;
mod recompute;
mod registers;
mod restore;
