//! Tension on counts: the polynomial of degree 1 to 3 that turns counts into kilonewtons.
//!
//! The reference force is taken as known and the reading as what is asked for later, so tension is fitted
//! on counts and no inversion is needed in use. The lower limit factor is 2.4 residual SDs (ASTM E74),
//! here in units of tension straight away.

use super::inverse::solve;
use boltscribe_numerics::{DoubleDouble, PolynomialError, PolynomialFit, fit_polynomial_exact};

/// Highest degree.
pub const DEGREE_MAX: usize = 3;
/// Residual SDs in the lower limit factor: about 99 % of the readings (ASTM E74).
pub const LLF_SDS: f64 = 2.4;

/// A calibration line from counts to tension.
#[derive(Clone, Debug)]
pub struct TensionFit {
    /// Tension in kN on counts.
    pub polynomial: PolynomialFit,
    /// Residual standard deviation, kN.
    pub residual_sd_kn: f64,
    /// 2.4 × that.
    pub llf_kn: f64,
}

/// A tension by the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tension {
    /// The line at these counts, kN.
    pub tension_kn: f64,
    /// Standard uncertainty of the line there, covariances counted, kN.
    pub line_u_kn: f64,
    /// The same with the scatter of one reading, kN.
    pub reading_u_kn: f64,
    /// The counts lie outside those of the calibration.
    pub outside: bool,
}

/// Why points give no calibration line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TensionFitError {
    /// Not 1 to 3.
    #[error("expected a degree from 1 to {DEGREE_MAX} for tension on counts, found {found}")]
    Degree {
        /// The degree asked for.
        found: usize,
    },
    /// No degree of freedom would be left.
    #[error("expected at least {expected} points for degree {degree}, found {found}")]
    TooFew {
        /// The degree asked for.
        degree: usize,
        /// Fewest.
        expected: usize,
        /// How many.
        found: usize,
    },
    /// The line turns back within the calibrated range.
    #[error(
        "expected a line of degree {degree} that rises or falls throughout, found one that turns at {counts:.0} counts, inside the range from {low} to {high}"
    )]
    Turns {
        /// The degree asked for.
        degree: usize,
        /// Where the slope is zero or changes its sign.
        counts: f64,
        /// Least counts of the calibration.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// See there.
    #[error(transparent)]
    Polynomial(#[from] PolynomialError),
}

/// Fits tension in kN on counts.
///
/// # Errors
/// A degree outside 1 to 3, points that leave no degree of freedom, too few different counts, a line that
/// turns back within its range.
pub fn fit_tension(
    counts: &[DoubleDouble],
    tension_kn: &[DoubleDouble],
    degree: usize,
) -> Result<TensionFit, TensionFitError> {
    if !(1..=DEGREE_MAX).contains(&degree) {
        return Err(TensionFitError::Degree { found: degree });
    }
    let (found, expected) = (counts.len(), degree + 2);
    if found < expected {
        return Err(TensionFitError::TooFew { degree, expected, found });
    }
    let polynomial = fit_polynomial_exact(counts, tension_kn, degree, None)?;
    if let Some(counts) = turning_point(&polynomial) {
        let (low, high) = polynomial.range;
        return Err(TensionFitError::Turns { degree, counts, low, high });
    }
    let residual_sd_kn = polynomial.centred.residual_sd().unwrap_or(f64::NAN);
    Ok(TensionFit { polynomial, residual_sd_kn, llf_kn: LLF_SDS * residual_sd_kn })
}

/// Where within its range a polynomial of degree 1 to 3 stops rising or falling; none where it never does.
#[must_use]
pub fn turning_point(fit: &PolynomialFit) -> Option<f64> {
    let (low, high) = fit.range;
    let c = &fit.centred.coefficients;
    let (second, third) = (c.get(2).copied().unwrap_or(0.0), c.get(3).copied().unwrap_or(0.0));
    // The slope is a parabola: it is extreme at the ends or at its vertex.
    let vertex = fit.centre + fit.scale * (-second / (3.0 * third));
    let inside = (vertex > low && vertex < high).then_some(vertex);
    // What rises by no more than rounding does not rise.
    let (at_low, at_high) = (fit.value(low), fit.value(high));
    if (at_high - at_low).abs() <= 1e-12 * at_low.abs().max(at_high.abs()) {
        return Some(low);
    }
    let rising = fit.slope(low) > 0.0;
    let same = |x: &f64| if rising { fit.slope(*x) > 0.0 } else { fit.slope(*x) < 0.0 };
    let (mut good, mut bad) = (low, [low, high].into_iter().chain(inside).find(|x| !same(x))?);
    for _ in 0..80 {
        let middle = 0.5 * (good + bad);
        if same(&middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(bad)
}

impl TensionFit {
    /// Counts at which the line gives this tension, in its range or as much again either side; none beyond.
    #[must_use]
    pub fn counts_at(&self, tension_kn: f64) -> Option<f64> {
        solve(&self.polynomial, tension_kn).ok()
    }

    /// Standard uncertainty that the line's coefficients give to a sum of its powers with these weights, kN.
    #[must_use]
    pub fn line_u_kn(&self, weights: &[f64]) -> f64 {
        self.residual_sd_kn * libm::sqrt(self.polynomial.centred.unscaled_variance(weights).max(0.0))
    }

    /// Tension at `counts`, a mean of `readings` readings.
    #[must_use]
    pub fn tension(&self, counts: f64, readings: usize) -> Tension {
        let line_u_kn = self.polynomial.value_se(counts).unwrap_or(f64::NAN);
        let scatter = self.residual_sd_kn / libm::sqrt(readings.max(1) as f64);
        let (low, high) = self.polynomial.range;
        Tension {
            tension_kn: self.polynomial.value(counts),
            line_u_kn,
            reading_u_kn: libm::hypot(line_u_kn, scatter),
            outside: !(low..=high).contains(&counts),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(points: &[(f64, f64)], degree: usize) -> Result<TensionFit, TensionFitError> {
        let exact = |v: Vec<f64>| v.into_iter().map(DoubleDouble::from).collect::<Vec<_>>();
        let (x, y) = points.iter().copied().unzip();
        fit_tension(&exact(x), &exact(y), degree)
    }

    #[test]
    fn a_line_gives_tension_its_uncertainty_and_says_when_it_is_outside() {
        let f = fit(&[(0.0, 0.1), (1000.0, 9.9), (2000.0, 20.1), (3000.0, 29.9)], 1).unwrap();
        let here = f.tension(1500.0, 1);
        assert!((here.tension_kn - 15.0).abs() < 1e-12 && !here.outside);
        assert!((here.line_u_kn - f.residual_sd_kn / 2.0).abs() < 1e-12);
        assert!(f.tension(3001.0, 4).outside && (f.llf_kn - 2.4 * f.residual_sd_kn).abs() < 1e-15);
        assert!(f.tension(6000.0, 1).line_u_kn > 3.0 * here.line_u_kn);
    }

    #[test]
    fn a_line_that_turns_back_is_refused_at_the_place() {
        let parabola: Vec<(f64, f64)> =
            (0..9).map(|i| f64::from(i) * 1000.0).map(|x| (x, x * (12_000.0 - x) * 1e-6)).collect();
        let error = fit(&parabola, 2).unwrap_err();
        assert!(
            matches!(error, TensionFitError::Turns { counts, .. } if (counts - 6000.0).abs() < 1e-3),
            "{error}"
        );
        let cubic: Vec<(f64, f64)> =
            (-5..=5).map(f64::from).map(|x| (x * 1000.0, x * x * x - 3.0 * x)).collect();
        assert!(matches!(fit(&cubic, 3), Err(TensionFitError::Turns { .. })));
        let flat = fit(&[(0.0, 5.0), (1.0, 5.0), (2.0, 5.0)], 1);
        assert!(matches!(flat, Err(TensionFitError::Turns { .. })));
        assert!(matches!(fit(&parabola[..3], 2), Err(TensionFitError::TooFew { expected: 4, found: 3, .. })));
        assert!(matches!(fit(&parabola, 4), Err(TensionFitError::Degree { found: 4 })));
    }
}
