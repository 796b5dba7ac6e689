//! Calibrations, bolts and uncertainty: what turns readings into figures that can be traced.
//!
//! Pure; must not know runs or storage.

pub mod nominal;

pub use nominal::{Nominal, NominalError};
