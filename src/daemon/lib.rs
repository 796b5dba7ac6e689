//! The daemon: wiring between ports, pipelines, the store and the API.
//!
//! One reader thread a rig, one writer of the store, one wall clock. Here, and nowhere else, stream
//! seconds become UTC. What bytes mean and what is stored is the business of other rooms.

pub mod args;
pub mod board;
pub mod config;
pub mod dial;
pub mod error;
pub mod faults;
pub mod forwarding;
pub mod hearing;
pub mod hub;
pub mod identities;
pub mod keeper;
pub mod logging;
pub mod measuring;
pub mod news;
pub mod order;
pub mod postman;
pub mod recording;
pub mod recovery;
pub mod rig;
pub mod roster;
pub mod run;
pub mod serving;
pub mod start;
pub mod supervisor;
mod verifying;
pub mod wall;
pub mod wall_watch;

pub use run::main;

#[cfg(test)]
mod rig_tests;
#[cfg(test)]
mod supervisor_tests;
