//! Frames to evenly spaced counts with ticks, gaps, slow channels, status, and what to ask next.
//!
//! Must not know calibration or newtons.

pub mod asking;
pub mod assembler;
pub mod host_clock;
pub mod settings;

pub use settings::Settings;
