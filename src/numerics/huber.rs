//! Least squares that outliers pull less: Huber's M-estimate of a linear model.
//!
//! Weights min(1, k·s/|r|) by iterated least squares, with the scale s from the median of |residuals| (Huber and Ronchetti,
//! Robust Statistics, 2009, 7.8). Must not know what is fitted.

use super::linear::{Design, least_squares};
use super::order::median;

/// Huber's constant for 95 % of the efficiency of least squares where errors are normal.
pub const K: f64 = 1.345;
/// SD of a normal error over the median of its size: 1/Φ⁻¹(3/4).
const SD_PER_MEDIAN: f64 = 1.482_602_218_505_602;
/// Residuals below this share of the values are rounding.
const ROUNDING: f64 = 1e-13;
/// Most rounds.
const ROUNDS: usize = 200;
/// Steps below this share of the scale are none.
const SMALL: f64 = 1e-10;

/// A fit that outliers pull less.
#[derive(Clone, Debug, PartialEq)]
pub struct Huber {
    /// One a column.
    pub coefficients: Vec<f64>,
    /// SD of one value by the median of the residuals' sizes, blind to outliers.
    pub scale: f64,
}

/// The fit; none without one, where half of the residuals are nothing, or where it does not settle.
#[must_use]
pub fn huber(design: &Design, values: &[f64]) -> Option<Huber> {
    let mut fit = least_squares(design, values, None).ok()?;
    let least = ROUNDING * values.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
    for _ in 0..ROUNDS {
        let mut off: Vec<f64> = fit.residuals.iter().map(|r| r.abs()).collect();
        let scale = SD_PER_MEDIAN * median(&mut off)?;
        if scale <= least {
            return None;
        }
        let weight = |r: &f64| if r.abs() <= K * scale { 1.0 } else { K * scale / r.abs() };
        let weights: Vec<f64> = fit.residuals.iter().map(weight).collect();
        let next = least_squares(design, values, Some(&weights)).ok()?;
        let step = fit.coefficients.iter().zip(&next.coefficients).map(|(a, b)| (a - b).abs());
        let settled = step.fold(0.0, f64::max) <= SMALL * scale;
        fit = next;
        if settled {
            return Some(Huber { coefficients: fit.coefficients, scale });
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_equals_statsmodels() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let group: Vec<f64> = (0..12).map(|i| f64::from(u8::from(i % 3 == 0))).collect();
        let y = [4.38, 4.35, 4.36, 4.39, 4.34, 4.60, 4.37, 4.35, 4.33, 4.10, 4.34, 4.35];
        let design = Design::new().with_constant("one", 12).with("group", &group).with("x", &x);
        // statsmodels 0.15.0, RLM with HuberT(1.345), scale by the median, tol 1e-14.
        let expected = [4.368699627968623, 0.010792131705887997, -0.0030648591308438666];
        let found = huber(&design, &y).unwrap().coefficients;
        for (found, expected) in found.iter().zip(expected) {
            assert!((found - expected).abs() < 1e-8, "{found} {expected}");
        }
    }

    #[test]
    fn values_of_which_half_lie_on_the_fit_have_no_scale() {
        let design = Design::new().with_constant("one", 5);
        assert_eq!(huber(&design, &[1.0, 1.0, 1.0, 1.0, 1.0]), None);
    }
}
