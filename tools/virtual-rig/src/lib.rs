//! A seeded, simulated bolt-tension rig: it invents runs of an impact wrench, knows the truth
//! about each, and shows them as a device on a pseudo-terminal would.
//!
//! The model rooms (`scenario`, `model`, `signal`, `adc`, `truth`, `stream`) are pure: the same
//! scenario gives the same counts everywhere. Only `serve`, `pty` and `clock` meet the outside.
//! Of the workspace's crates this one knows the wire format alone, so that it cannot agree with
//! the measuring side by sharing its code. Every number it makes is invented.

pub mod adc;
pub mod capture;
pub mod check;
pub mod device;
mod dice;
pub mod export;
pub mod faults;
pub mod impact;
pub mod lines;
pub mod lowpass;
pub mod model;
pub mod plan;
pub mod pty;
pub mod random;
pub mod scenario;
pub mod score;
pub mod serve;
pub mod signal;
pub mod stream;
pub mod talk;
pub mod truth;

pub use scenario::{Scenario, ScenarioError};
pub use stream::{Rendered, Stream, render};
pub use truth::TruthRun;
