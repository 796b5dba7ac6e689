//! Factors k so that mean ± k·s covers a share of a normal population with a confidence.
//!
//! ISO 16269-6: one-sided by the noncentral t, two-sided by the exact integral (Odeh and Owen 1980), not by
//! Howe's approximation, which is up to 0.4 % low or high. Must not know what the values measure.

use super::distributions::{
    chi_squared_quantile, chi_squared_sf, noncentral_t_quantile, normal_cdf, normal_density, normal_quantile,
};

/// One-sided factor for n values; none below two values or outside 0 < share, confidence < 1.
#[must_use]
pub fn one_sided(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let root = sound(n, share, confidence)?;
    Some(noncentral_t_quantile(confidence, (n - 1) as f64, normal_quantile(share) * root) / root)
}

/// Two-sided factor.
#[must_use]
pub fn two_sided(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let root = sound(n, share, confidence)?;
    let freedom = (n - 1) as f64;
    let z = normal_quantile(0.5 + 0.5 * share);
    // Howe's approximation is the start.
    let start =
        z * ((1.0 + 1.0 / n as f64) * freedom / chi_squared_quantile(1.0 - confidence, freedom)).sqrt();
    let half_widths: Vec<(f64, f64)> = offsets().map(|x| (x, half_width(x / root, share, z))).collect();
    let reached = |k: f64| -> f64 {
        half_widths
            .iter()
            .map(|(x, r)| STEP * normal_density(*x) * chi_squared_sf(freedom * r * r / (k * k), freedom))
            .sum()
    };
    let (mut low, mut high) = (0.8 * start, 1.25 * start);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if high - low < 1e-12 * middle {
            break;
        }
        if reached(middle) < confidence { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// Step of the trapezoidal rule over the standardised error of the mean.
const STEP: f64 = 0.2;

fn offsets() -> impl Iterator<Item = f64> {
    (-45..=45).map(|i| STEP * f64::from(i))
}

/// The r for which ± r about a centre that is off by `x` SD covers `share`.
fn half_width(x: f64, share: f64, z: f64) -> f64 {
    let (mut low, mut high) = (z, z + x.abs() + 1.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if normal_cdf(x + middle) - normal_cdf(x - middle) < share { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

fn sound(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let inside = |p: f64| p > 0.0 && p < 1.0;
    (n >= 2 && inside(share) && inside(confidence)).then(|| (n as f64).sqrt())
}
