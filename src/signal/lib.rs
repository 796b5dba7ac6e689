//! From bytes on the line to measured runs: frames -> samples -> tension -> runs, and the recordings of a line.
//!
//! No IO, no thread, no clock: what goes in decides what comes out. Each folder is one step and knows only those
//! before it. Must not know setups, torque or storage.

pub mod capture;
pub mod frames;
pub mod runs;
pub mod samples;
pub mod tension;
