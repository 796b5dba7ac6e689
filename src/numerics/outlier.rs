//! The residual that stands out most, with the chance that the greatest of so many would stand out as far.
//!
//! The maximum studentised residual with Bonferroni's bound; for one sample about its mean it is the test of
//! Grubbs (1969, Technometrics 11:1), whose statistic and critical value are here too. It shows, it never
//! removes. Must not know what the values measure.

use super::distributions::{t_quantile, t_two_sided};

/// The residual that stands out most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlier {
    /// Its place among the residuals.
    pub index: usize,
    /// Residual over its own standard deviation: Grubbs' G for one sample.
    pub studentised: f64,
    /// Chance of one at least as far out among so many, at most.
    pub p_value: f64,
}

/// Finds it; `leverages` are the diagonal of X(XᵀX)⁻¹Xᵀ, `freedom` the residual degrees of freedom.
///
/// None with fewer than two degrees of freedom, or where nothing is left over.
#[must_use]
pub fn most_outlying(residuals: &[f64], leverages: &[f64], freedom: usize) -> Option<Outlier> {
    if freedom < 2 || residuals.len() != leverages.len() {
        return None;
    }
    let df = freedom as f64;
    let sum_of_squares: f64 = residuals.iter().map(|r| r * r).sum();
    let s = (sum_of_squares / df).sqrt();
    if s <= 0.0 {
        return None;
    }
    // A point that the fit must pass through has no residual of its own.
    let free = |h: &f64| 1.0 - h > 1e-9;
    let (index, studentised) = residuals
        .iter()
        .zip(leverages)
        .enumerate()
        .filter(|(_, (_, h))| free(h))
        .map(|(i, (r, h))| (i, r.abs() / (s * (1.0 - h).sqrt())))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let rest = df - studentised * studentised;
    let count = leverages.iter().filter(|h| free(h)).count() as f64;
    let p_value = if rest <= 0.0 {
        0.0
    } else {
        (count * t_two_sided(studentised * ((df - 1.0) / rest).sqrt(), df - 1.0)).min(1.0)
    };
    Some(Outlier { index, studentised, p_value })
}

/// Grubbs' critical value of max |x − mean| / s for n values, two-sided; none below three.
#[must_use]
pub fn grubbs_critical(n: usize, alpha: f64) -> Option<f64> {
    if n < 3 {
        return None;
    }
    let n = n as f64;
    let t = t_quantile(1.0 - alpha / (2.0 * n), n - 2.0);
    Some((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}
