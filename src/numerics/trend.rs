//! Whether a series moves: Mann-Kendall, von Neumann's ratio, the slope a step.
//!
//! Mann (1945, Econometrica 13:245) and Kendall (Rank Correlation Methods): exact p up to 60 values without
//! ties, the normal approximation with its correction else. Von Neumann (1941, Ann. Math. Stat. 12:367).
//! Must not know what the values measure.

use super::distributions::normal_sf;
use super::moments::{mean, sd};

/// Longest series whose exact p is counted out.
const EXACT_MAX: usize = 60;

/// Mann and Kendall's test for a trend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Rising pairs less falling pairs.
    pub s: i64,
    /// Two-sided p.
    pub p_value: f64,
    /// Counted out over all orders; else the normal approximation.
    pub exact: bool,
}

/// Tests a series in its order; none below three values, or where all are equal.
#[must_use]
pub fn mann_kendall(values: &[f64]) -> Option<MannKendall> {
    let n = values.len();
    if n < 3 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let sign = |a: f64, b: f64| i64::from(b > a) - i64::from(b < a);
    let s: i64 = (0..n).map(|i| values[i + 1..].iter().map(|v| sign(values[i], *v)).sum::<i64>()).sum();
    let ties = tied_groups(values);
    if ties.is_empty() && n <= EXACT_MAX {
        return Some(MannKendall { s, p_value: exact_p(n, s), exact: true });
    }
    let pairs = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let variance = (pairs(n as f64) - ties.iter().map(|t| pairs(*t as f64)).sum::<f64>()) / 18.0;
    if variance <= 0.0 {
        return None;
    }
    let z = ((s.abs() - 1).max(0)) as f64 / variance.sqrt();
    Some(MannKendall { s, p_value: (2.0 * normal_sf(z)).min(1.0), exact: false })
}

/// Sizes of groups of equal values.
fn tied_groups(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).filter(|n| *n > 1).collect()
}

/// The share of all orders of n values whose |S| is at least as great.
fn exact_p(n: usize, s: i64) -> f64 {
    // The share of orders with k inversions, grown value by value.
    let mut shares = vec![1.0];
    for m in 2..=n {
        let mut next = vec![0.0; shares.len() + m - 1];
        for (k, share) in shares.iter().enumerate() {
            for place in &mut next[k..k + m] {
                *place += share / m as f64;
            }
        }
        shares = next;
    }
    let pairs = (n * (n - 1) / 2) as i64;
    let beyond = |k: usize| (pairs - 2 * k as i64).abs() >= s.abs();
    shares.iter().enumerate().filter(|(k, _)| beyond(*k)).map(|(_, share)| share).sum::<f64>().min(1.0)
}

/// Von Neumann's ratio: sum of squared steps over sum of squared deviations. About 2 for a steady series,
/// small for one that moves. None below two values or without spread.
#[must_use]
pub fn von_neumann_ratio(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let spread: f64 = values.iter().map(|v| (v - centre) * (v - centre)).sum();
    let steps: f64 = values.windows(2).map(|w| (w[1] - w[0]) * (w[1] - w[0])).sum();
    (values.len() > 1 && spread > 0.0).then(|| steps / spread)
}

/// A straight line through evenly spaced values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// Change from one value to the next.
    pub per_step: f64,
    /// Its standard error.
    pub se: f64,
    /// Values less two.
    pub degrees_of_freedom: usize,
}

/// Least squares of the values on their place; none below three values.
#[must_use]
pub fn slope(values: &[f64]) -> Option<Slope> {
    let n = values.len();
    if n < 3 {
        return None;
    }
    let middle = (n - 1) as f64 / 2.0;
    let place = |i: usize| i as f64 - middle;
    let spread: f64 = (0..n).map(|i| place(i) * place(i)).sum();
    let centre = mean(values)?;
    let per_step = values.iter().enumerate().map(|(i, v)| place(i) * (v - centre)).sum::<f64>() / spread;
    let rest: Vec<f64> = values.iter().enumerate().map(|(i, v)| v - centre - per_step * place(i)).collect();
    let degrees_of_freedom = n - 2;
    // The residuals' mean is zero: their SD times √(n − 1) is the root of their sum of squares.
    let sum_of_squares = sd(&rest)?.powi(2) * (n - 1) as f64;
    let se = (sum_of_squares / degrees_of_freedom as f64 / spread).sqrt();
    Some(Slope { per_step, se, degrees_of_freedom })
}
