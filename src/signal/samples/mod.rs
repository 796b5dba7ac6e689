//! Frames to evenly spaced counts with ticks, gaps, slow channels, status, and what to ask next.
//!
//! Must not know calibration or newtons.

pub mod asking;
pub mod assembler;
pub mod bounds;
pub mod piece;
pub mod readings;
pub mod settings;
pub mod ticks;

pub use asking::{Ask, Asking};
pub use assembler::Assembler;
pub use piece::{Clock, Piece};
pub use settings::Settings;
