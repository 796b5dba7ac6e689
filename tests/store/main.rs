//! The store from outside: what was acknowledged is there, nothing is changed, damage is told.
//!
//! One file a claim; `sample` makes the runs and blocks they put in.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod attempts;
mod by_hand;
mod crash;
mod keeping;
mod opening;
mod outbox;
mod sample;
mod verdicts;
