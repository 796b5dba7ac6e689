//! Numbers of general use: medians and spreads, least squares, the saturating exponential.
//!
//! Pure functions of slices; must not know what the numbers mean.

pub mod order;
pub mod saturating;

pub use order::{median, median_f32, robust_sd, scaled_mad};
pub use saturating::{Saturating, fit_saturating};
