//! Numbers of general use: medians and spreads, least squares, distributions, the saturating exponential.
//!
//! Pure functions of slices; must not know what the numbers mean.

pub mod anova;
pub mod distributions;
pub mod double_double;
pub mod linear;
pub mod moments;
pub mod order;
pub mod polynomial;
mod qr;
pub mod saturating;

pub use linear::{Design, LinearError, LinearFit, least_squares};
pub use order::{median, median_f32, robust_sd, scaled_mad};
pub use polynomial::{PolynomialError, PolynomialFit, fit_polynomial};
pub use saturating::{Saturating, fit_saturating};
