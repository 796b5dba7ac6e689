//! The run finder and the measures: evenly spaced tension in, events and records out.
//!
//! the manual, "What is measured" gives the definitions in words; each file below is one of them. This
//! room knows newtons and samples; it must not know torque, setups or storage.

pub mod activity;
pub mod after;
pub mod band;
pub mod blows;
pub mod ends;
pub mod epochs;
pub mod figures;
pub mod finder;
pub mod glitch;
pub mod held;
pub mod idle;
pub mod kept;
pub mod lowpass;
pub mod measure;
mod medians;
mod opinion;
mod peak;
pub mod plateau;
pub mod record;
mod rest;
mod rhythm;
pub mod spikes;
pub mod starts;
pub mod steps;
pub mod study;
pub mod watch;

pub use figures::{Estimate, Figures, Reached, ReachedState};
pub use finder::{Finder, Found, Opening, RELEASE_MAX_S, REST_MAX_S, Rest};
pub use record::{Basis, Blow, CloseReason, Closing, Form, Gate, Plateau, Record, RunFlag, Settings, Timing};
