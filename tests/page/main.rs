//! The HTTP interface from outside, in process and over its sockets.

// Helpers of a test fail like the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod asking;
mod guarding;
mod people;
#[path = "../store/sample.rs"]
mod sample;
mod serving;
mod support;
