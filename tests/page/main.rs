//! The HTTP interface from outside, in process and over its sockets.
//!
//! One file a concern; `support` holds the house they ask, `sample` the runs in its store.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod answering;
mod asking;
mod attempts;
mod budgets;
mod describing;
mod forwarding;
mod guarding;
mod held;
mod people;
#[path = "../store/sample.rs"]
mod sample;
mod serving;
mod simulated;
mod stalling;
mod strict;
mod support;
