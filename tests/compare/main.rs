//! Comparison against the outside: published examples, and numbers that other programs give.
//!
//! Each value stands beside the name of its source. The same code answers the command line.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod brackets;
mod equivalences;
mod honesty;
mod mountings;
mod orders;
mod pieces;
mod published;
mod regression;
mod robust;
mod simulations;
mod steps;
mod support;
mod trials;
mod verb;
