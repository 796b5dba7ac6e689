//! The HTTP interface from outside, in process and over its sockets.

mod asking;
mod guarding;
mod people;
#[path = "../store/sample.rs"]
mod sample;
mod serving;
mod support;
