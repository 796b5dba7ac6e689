//! The HTTP interface: what the command line and the browser see.
//!
//! Reads the store, writes through its writer, and asks [`Rigs`] for everything live. Must not know
//! ports, pipelines or the daemon.

pub mod rigs;

pub use rigs::{Identity, Later, Link, LiveMessage, News, PortState, Refusal, Reply, RigState, Rigs};
