//! Calibrations, bolts and uncertainty: what turns readings into figures that can be traced.
//!
//! Pure functions of numbers. Must not know runs, storage, or where the numbers were read. The standards
//! are named where a formula stands; figures taken from them by memory say so.

pub mod bolt_factor;
pub mod budget;
pub mod e74;
pub mod friction;
pub mod inverse;
pub mod iso376;
pub mod kept;
pub mod monte_carlo;
pub mod nominal;
pub mod outlier;
pub mod pretension;
pub mod proof;
pub mod ratio;
pub mod tension_fit;
pub mod threads;

pub use kept::{KeptCalibration, KeptError, KeptLoad, Reference, Taken};
pub use nominal::{Nominal, NominalError};
pub use tension_fit::TensionFit;
