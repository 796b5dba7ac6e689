//! Numbers of general use: medians and spreads, least squares, distributions, the saturating exponential.
//!
//! Pure functions of slices; must not know what the numbers mean.

pub mod anova;
pub mod autocorrelation;
pub mod censored;
pub mod distributions;
pub mod double_double;
pub mod huber;
mod lattice;
pub mod linear;
pub mod many_to_one;
pub mod moments;
pub mod order;
pub mod outlier;
pub mod polynomial;
pub mod power;
mod qr;
pub mod saturating;
pub mod sequential;
pub mod steadiness;
pub mod tolerance;
pub mod trend;
pub mod two_samples;

pub use double_double::DoubleDouble;
pub use linear::{Design, LinearError, LinearFit, least_squares, least_squares_exact};
pub use moments::{Moments, mean, moments, moments_exact, sd};
pub use order::{median, median_f32, median_of, robust_sd, scaled_mad, value_at};
pub use polynomial::{PolynomialError, PolynomialFit, fit_polynomial, fit_polynomial_exact};
pub use saturating::{Saturating, fit_saturating};
