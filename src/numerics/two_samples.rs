//! Two samples: the ratio of two means with Fieller's limits, and Welch's t.
//!
//! Fieller (1954, J. R. Stat. Soc. B 16:175); Welch (1947, Biometrika 34:28). Must not know what is compared.

use super::distributions::t_two_sided;
use super::moments::{mean, sd};

/// Variances and covariance of two means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Variance of what stands above.
    pub above: f64,
    /// Variance of what stands below.
    pub below: f64,
    /// Their covariance.
    pub both: f64,
}

/// Limits of above/below where every ratio in between is as good as t allows.
///
/// None where what stands below cannot be told from zero (g ≥ 1): then there is no finite interval.
#[must_use]
pub fn fieller(above: f64, below: f64, spread: Spread, t: f64) -> Option<(f64, f64)> {
    // Finney's form: the roots of (a − R·b)² = t²·var(a − R·b).
    let tt = t * t;
    let square = below * below - tt * spread.below;
    let middle = above * below - tt * spread.both;
    let rest = above * above - tt * spread.above;
    let under = middle * middle - square * rest;
    if square.is_nan() || square <= 0.0 || under < 0.0 {
        return None;
    }
    let half = under.sqrt();
    Some(((middle - half) / square, (middle + half) / square))
}

/// Welch's t between two samples whose spreads may differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Welch {
    /// Difference of the means (first less second) over its standard error.
    pub t: f64,
    /// Welch and Satterthwaite's degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Two-sided p.
    pub p_value: f64,
}

/// Compares two samples; none below two values each, or without spread.
#[must_use]
pub fn welch(first: &[f64], second: &[f64]) -> Option<Welch> {
    let part = |v: &[f64]| sd(v).map(|s| s * s / v.len() as f64);
    let (a, b) = (part(first)?, part(second)?);
    let variance = a + b;
    if variance <= 0.0 {
        return None;
    }
    let t = (mean(first)? - mean(second)?) / variance.sqrt();
    let share = |v: f64, n: usize| v * v / (n - 1) as f64;
    let degrees_of_freedom = variance * variance / (share(a, first.len()) + share(b, second.len()));
    Some(Welch { t, degrees_of_freedom, p_value: t_two_sided(t, degrees_of_freedom) })
}
