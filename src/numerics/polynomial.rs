//! Least squares of a polynomial, degree 0 to 10, on centred and scaled abscissae.
//!
//! Centring by a number of `f64` and scaling by a power of two are exact in twice the precision, and the
//! way back to powers of x is done in it too: published sets of degree 10 keep their digits. Must not know
//! what is fitted.

use super::double_double::DoubleDouble;
use super::linear::{Design, LinearError, LinearFit, least_squares_exact};

/// Highest degree.
pub const DEGREE_MAX: usize = 10;

/// A fitted polynomial.
#[derive(Clone, Debug)]
pub struct PolynomialFit {
    /// Factors of x to the power of the index.
    pub coefficients: Vec<f64>,
    /// Their covariance for a residual SD of 1, row by row.
    pub unscaled_covariance: Vec<Vec<f64>>,
    /// The fit in powers of u = (x − centre)/scale: residuals, SD, R², degrees of freedom.
    pub centred: LinearFit,
    /// The centre of the abscissae.
    pub centre: f64,
    /// A power of two of at least their half-width.
    pub scale: f64,
    /// Least and greatest abscissa.
    pub range: (f64, f64),
}

/// Why there is no such fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PolynomialError {
    /// Above the highest degree.
    #[error("polynomial: expected a degree of at most {DEGREE_MAX}, found {found}")]
    Degree {
        /// The degree asked for.
        found: usize,
    },
    /// Too few different abscissae.
    #[error("polynomial of degree {degree}: expected at least {expected} different x, found {found}")]
    Distinct {
        /// The degree asked for.
        degree: usize,
        /// Fewest.
        expected: usize,
        /// How many.
        found: usize,
    },
    /// See there.
    #[error(transparent)]
    Linear(#[from] LinearError),
}

/// Fits `y` by a polynomial of `degree` in `x`; `weights` are one over variances, up to a common factor.
///
/// # Errors
/// A degree above 10, too few different abscissae, values that are not finite, slices of unequal length.
pub fn fit_polynomial(
    x: &[f64],
    y: &[f64],
    degree: usize,
    weights: Option<&[f64]>,
) -> Result<PolynomialFit, PolynomialError> {
    let exact = |v: &[f64]| v.iter().map(|v| DoubleDouble::from(*v)).collect::<Vec<_>>();
    fit_polynomial_exact(&exact(x), &exact(y), degree, weights)
}

/// The same for numbers of twice the precision, such as decimals read to all their digits.
///
/// # Errors
/// As `fit_polynomial`.
pub fn fit_polynomial_exact(
    x: &[DoubleDouble],
    y: &[DoubleDouble],
    degree: usize,
    weights: Option<&[f64]>,
) -> Result<PolynomialFit, PolynomialError> {
    if degree > DEGREE_MAX {
        return Err(PolynomialError::Degree { found: degree });
    }
    if let Some(i) = x.iter().position(|v| !v.is_finite()) {
        let column = "x".to_owned();
        let found = x[i].to_f64();
        let error = LinearError::Value { column, point: i + 1, expected: "a finite number", found };
        return Err(error.into());
    }
    let mut sorted: Vec<f64> = x.iter().map(|x| x.to_f64()).collect();
    sorted.sort_by(f64::total_cmp);
    let range = (sorted.first().copied().unwrap_or(0.0), sorted.last().copied().unwrap_or(0.0));
    sorted.dedup_by(|a, b| *a == *b);
    if sorted.len() < degree + 1 {
        return Err(PolynomialError::Distinct { degree, expected: degree + 1, found: sorted.len() });
    }
    let centre = 0.5 * range.0 + 0.5 * range.1;
    let scale = power_of_two_above(0.5 * range.1 - 0.5 * range.0);
    let u: Vec<DoubleDouble> =
        x.iter().map(|x| (*x - DoubleDouble::from(centre)).times_power_of_two(1.0 / scale)).collect();
    let mut design = Design::new();
    let mut power = vec![DoubleDouble::ONE; x.len()];
    for k in 0..=degree {
        let next = power.iter().zip(&u).map(|(p, u)| *p * *u).collect();
        design.push(format!("x^{k}"), std::mem::replace(&mut power, next));
    }
    let centred = least_squares_exact(&design, y, weights)?;
    let (coefficients, unscaled_covariance) = raw(&centred, centre, scale);
    Ok(PolynomialFit { coefficients, unscaled_covariance, centred, centre, scale, range })
}

/// The least power of two not below `value`; 1 for zero.
fn power_of_two_above(value: f64) -> f64 {
    if value <= 0.0 {
        return 1.0;
    }
    let (fraction, exponent) = libm::frexp(value);
    // A half-width near the ends of the range of f64 is left alone.
    let exponent = if fraction == 0.5 { exponent - 1 } else { exponent };
    libm::ldexp(1.0, exponent.clamp(-1000, 1000))
}

/// Coefficients and covariance in powers of x from those in powers of u.
fn raw(fit: &LinearFit, centre: f64, scale: f64) -> (Vec<f64>, Vec<Vec<f64>>) {
    let n = fit.coefficients.len();
    // u^k = scale^−k · Σ_j C(k, j) · (−centre)^(k − j) · x^j.
    let shift = |j: usize, k: usize| {
        if j > k {
            return DoubleDouble::ZERO;
        }
        let power = DoubleDouble::from(-centre).powi(k - j).times_power_of_two(libm::pow(scale, -(k as f64)));
        power * DoubleDouble::from(binomial(k, j))
    };
    let t: Vec<Vec<DoubleDouble>> = (0..n).map(|j| (0..n).map(|k| shift(j, k)).collect()).collect();
    let times = |row: &[DoubleDouble], v: &[DoubleDouble]| -> DoubleDouble {
        row.iter().zip(v).map(|(t, v)| *t * *v).sum()
    };
    let coefficients = t.iter().map(|row| times(row, &fit.exact.coefficients).to_f64()).collect();
    let half: Vec<Vec<DoubleDouble>> = t
        .iter()
        .map(|row| fit.exact.unscaled_covariance.iter().map(|column| times(row, column)).collect())
        .collect();
    let covariance =
        half.iter().map(|left| t.iter().map(|row| times(row, left).to_f64()).collect()).collect();
    (coefficients, covariance)
}

fn binomial(n: usize, k: usize) -> f64 {
    (0..k).fold(1.0, |c, i| c * (n - i) as f64 / (i + 1) as f64)
}

impl PolynomialFit {
    /// The degree.
    #[must_use]
    pub fn degree(&self) -> usize {
        self.coefficients.len() - 1
    }

    /// Standard errors of the coefficients; none without a degree of freedom left.
    #[must_use]
    pub fn standard_errors(&self) -> Option<Vec<f64>> {
        let s = self.centred.residual_sd()?;
        Some((0..self.coefficients.len()).map(|i| s * self.unscaled_covariance[i][i].sqrt()).collect())
    }

    /// Covariance of the coefficients `i` and `j`; none without a degree of freedom left.
    #[must_use]
    pub fn covariance(&self, i: usize, j: usize) -> Option<f64> {
        self.centred.residual_sd().map(|s| s * s * self.unscaled_covariance[i][j])
    }

    /// The polynomial at x.
    #[must_use]
    pub fn value(&self, x: f64) -> f64 {
        let u = self.u(x);
        self.centred.coefficients.iter().rev().fold(0.0, |sum, c| sum * u + c)
    }

    /// Its slope at x.
    #[must_use]
    pub fn slope(&self, x: f64) -> f64 {
        let u = self.u(x);
        let terms = self.centred.coefficients.iter().enumerate().skip(1).rev();
        terms.fold(0.0, |sum, (k, c)| sum * u + k as f64 * c) / self.scale
    }

    /// What x gives as a row of the design: powers of u. Contrasts of it go to `centred`.
    #[must_use]
    pub fn row(&self, x: f64) -> Vec<f64> {
        let u = self.u(x);
        (0..self.coefficients.len()).scan(1.0, |p, _| Some(std::mem::replace(p, *p * u))).collect()
    }

    /// Standard error of the polynomial at x, all covariances counted; none without a degree of freedom left.
    #[must_use]
    pub fn value_se(&self, x: f64) -> Option<f64> {
        self.centred.combination_se(&self.row(x))
    }

    fn u(&self, x: f64) -> f64 {
        (x - self.centre) / self.scale
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_far_from_zero_comes_back_from_its_points() {
        let x: Vec<f64> = (0..9).map(|i| 8_000_000.0 + 4000.0 * f64::from(i)).collect();
        let y: Vec<f64> = x.iter().map(|x| (x - 8_000_000.0) * (x - 8_004_000.0)).collect();
        let f = fit_polynomial(&x, &y, 3, None).unwrap();
        let expected = [8_000_000.0 * 8_004_000.0, -16_004_000.0, 1.0];
        for (found, expected) in f.coefficients.iter().zip(expected) {
            assert!((found / expected - 1.0).abs() < 1e-15, "{found} {expected}");
        }
        assert!(f.coefficients[3].abs() < 1e-25);
        assert!((f.value(8_010_000.0) - 10_000.0 * 6000.0).abs() < 1e-3);
        assert!((f.slope(8_010_000.0) - 16_000.0).abs() < 1e-6);
    }

    #[test]
    fn too_few_different_points_are_refused() {
        let error = fit_polynomial(&[1.0, 1.0, 2.0], &[0.0; 3], 2, None).unwrap_err();
        assert_eq!(error, PolynomialError::Distinct { degree: 2, expected: 3, found: 2 });
        assert!(matches!(
            fit_polynomial(&[1.0], &[1.0], 11, None),
            Err(PolynomialError::Degree { found: 11 })
        ));
        let constant = fit_polynomial(&[1.0, 1.0], &[2.0, 4.0], 0, None).unwrap();
        assert_eq!(constant.coefficients, [3.0]);
    }
}
