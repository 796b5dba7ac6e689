//! Linear least squares of any design of full rank: coefficients, covariance, residuals, R².
//!
//! Householder QR in twice the precision of `f64` (Golub and Van Loan, Matrix Computations, 5.2 and
//! 5.3), so that neither the scaling of columns nor a condition of 10¹⁵ costs digits of the answer.
//! Never the normal equations. Held by the NIST StRD sets. Must not know what the columns mean.

use super::double_double::DoubleDouble;
use super::qr::Qr;

/// The columns of a design, each with its name.
#[derive(Clone, Debug, Default)]
pub struct Design {
    names: Vec<String>,
    columns: Vec<Vec<DoubleDouble>>,
}

impl Design {
    /// Without columns.
    #[must_use]
    pub const fn new() -> Self {
        Self { names: Vec::new(), columns: Vec::new() }
    }

    /// Adds a column, one value a row.
    #[must_use]
    pub fn with(mut self, name: impl Into<String>, values: &[f64]) -> Self {
        self.push(name, values.iter().map(|v| DoubleDouble::from(*v)).collect());
        self
    }

    /// Adds a column of ones, `rows` long.
    #[must_use]
    pub fn with_constant(self, name: impl Into<String>, rows: usize) -> Self {
        self.with(name, &vec![1.0; rows])
    }

    /// Adds a column of twice the precision.
    pub fn push(&mut self, name: impl Into<String>, values: Vec<DoubleDouble>) {
        self.names.push(name.into());
        self.columns.push(values);
    }

    /// Names of the columns, in order.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }
}

/// Why there is no least-squares fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LinearError {
    /// No column at all.
    #[error("least squares: expected at least one column, found none")]
    NoColumn,
    /// A column is longer or shorter than the values to be fitted.
    #[error("least squares, column '{column}': expected {expected} rows, found {found}")]
    Rows {
        /// Which column.
        column: String,
        /// Rows of the values.
        expected: usize,
        /// Rows of the column.
        found: usize,
    },
    /// Fewer points than coefficients.
    #[error("least squares: expected at least {expected} points for {expected} coefficients, found {found}")]
    TooFew {
        /// Fewest.
        expected: usize,
        /// How many there are.
        found: usize,
    },
    /// NaN or infinite, or a weight below zero.
    #[error("least squares, column '{column}', point {point}: expected {expected}, found {found}")]
    Value {
        /// Which column; `values` and `weights` for those.
        column: String,
        /// Counted from 1.
        point: usize,
        /// What would do.
        expected: &'static str,
        /// What is there.
        found: f64,
    },
    /// A column is a combination of those before it, as far as double precision can tell.
    #[error(
        "least squares, column '{column}': expected a column that those before it do not make up, found one that they do to {digits:.0} digits"
    )]
    Rank {
        /// Which column.
        column: String,
        /// Place of the column, from 0.
        index: usize,
        /// −log10 of the share of it that is its own.
        digits: f64,
    },
}

/// A least-squares fit.
#[derive(Clone, Debug)]
pub struct LinearFit {
    /// Names of the coefficients, in the order of the columns.
    pub names: Vec<String>,
    /// One a column.
    pub coefficients: Vec<f64>,
    /// (XᵀWX)⁻¹, row by row, symmetric: the covariance of the coefficients for a residual SD of 1.
    pub unscaled_covariance: Vec<Vec<f64>>,
    /// Value less fitted value, one a point.
    pub residuals: Vec<f64>,
    /// Weighted sum of squares of the residuals.
    pub residual_sum_of_squares: f64,
    /// The same about the mean where a constant is among what the columns can make, else about zero.
    pub total_sum_of_squares: f64,
    /// Total less residual sum of squares, without the digits that cancel in `f64`.
    pub explained_sum_of_squares: f64,
    /// Whether a constant is.
    pub has_constant: bool,
    /// 1 − residual over total sum of squares.
    pub r_squared: f64,
    /// Points (of a weight above zero) less coefficients.
    pub degrees_of_freedom: usize,
    pub(super) exact: Exact,
}

/// What a change of basis needs in full precision.
#[derive(Clone, Debug)]
pub(super) struct Exact {
    pub(super) coefficients: Vec<DoubleDouble>,
    pub(super) unscaled_covariance: Vec<Vec<DoubleDouble>>,
}

impl LinearFit {
    /// Root of the residual sum of squares over the degrees of freedom; none without a degree left.
    #[must_use]
    pub fn residual_sd(&self) -> Option<f64> {
        let df = self.degrees_of_freedom;
        (df > 0).then(|| (self.residual_sum_of_squares / df as f64).sqrt())
    }

    /// Covariance of the coefficients `i` and `j`; none without a degree of freedom left.
    #[must_use]
    pub fn covariance(&self, i: usize, j: usize) -> Option<f64> {
        let unscaled = self.unscaled_covariance.get(i)?.get(j)?;
        self.residual_sd().map(|s| s * s * unscaled)
    }

    /// Standard error of coefficient `i`; none without a degree of freedom left.
    #[must_use]
    pub fn standard_error(&self, i: usize) -> Option<f64> {
        let unscaled = self.unscaled_covariance.get(i)?.get(i)?;
        self.residual_sd().map(|s| s * unscaled.sqrt())
    }

    /// Standard errors of all coefficients.
    #[must_use]
    pub fn standard_errors(&self) -> Option<Vec<f64>> {
        (0..self.coefficients.len()).map(|i| self.standard_error(i)).collect()
    }

    /// Correlation of the coefficients `i` and `j`.
    #[must_use]
    pub fn correlation(&self, i: usize, j: usize) -> Option<f64> {
        let v = &self.unscaled_covariance;
        Some(v.get(i)?.get(j)? / (v[i][i] * v[j][j]).sqrt())
    }

    /// The sum of weights × coefficients: one contrast, or the fitted value at one row of a design.
    ///
    /// `weights` has one number a coefficient; missing ones count as zero.
    #[must_use]
    pub fn combination(&self, weights: &[f64]) -> f64 {
        self.coefficients.iter().zip(weights).map(|(c, w)| c * w).sum()
    }

    /// Variance of such a sum for a residual SD of 1.
    #[must_use]
    pub fn unscaled_variance(&self, weights: &[f64]) -> f64 {
        let rows = self.unscaled_covariance.iter().zip(weights);
        rows.map(|(row, w)| w * row.iter().zip(weights).map(|(v, w)| v * w).sum::<f64>()).sum()
    }

    /// Standard error of such a sum; none without a degree of freedom left.
    #[must_use]
    pub fn combination_se(&self, weights: &[f64]) -> Option<f64> {
        self.residual_sd().map(|s| s * self.unscaled_variance(weights).max(0.0).sqrt())
    }

    /// F of the regression against a constant (or against zero without one), with its degrees of freedom.
    #[must_use]
    pub fn f_statistic(&self) -> Option<(f64, usize, usize)> {
        let above = self.coefficients.len() - usize::from(self.has_constant);
        if above == 0 || self.degrees_of_freedom == 0 {
            return None;
        }
        let explained = self.explained_sum_of_squares;
        let residual = self.residual_sum_of_squares / self.degrees_of_freedom as f64;
        Some((explained / above as f64 / residual, above, self.degrees_of_freedom))
    }
}

/// Fits `values` by the columns of `design`; `weights` are one over variances, up to a common factor.
///
/// # Errors
/// No columns, rows that do not match, fewer points than coefficients, values that are not finite or weights
/// below zero, a column that those before it make up.
pub fn least_squares(
    design: &Design,
    values: &[f64],
    weights: Option<&[f64]>,
) -> Result<LinearFit, LinearError> {
    let values: Vec<DoubleDouble> = values.iter().map(|v| DoubleDouble::from(*v)).collect();
    least_squares_exact(design, &values, weights)
}

/// The same for values of twice the precision, such as decimals read to all their digits.
///
/// # Errors
/// As `least_squares`.
pub fn least_squares_exact(
    design: &Design,
    y: &[DoubleDouble],
    weights: Option<&[f64]>,
) -> Result<LinearFit, LinearError> {
    let points = check(design, y, weights)?;
    let roots: Option<Vec<DoubleDouble>> =
        weights.map(|w| w.iter().map(|w| DoubleDouble::from(*w).sqrt()).collect());
    let weigh = |column: Vec<DoubleDouble>| match &roots {
        Some(roots) => column.iter().zip(roots).map(|(v, r)| *v * *r).collect(),
        None => column,
    };
    let n = y.len();
    let mut right = [weigh(y.to_vec()), weigh(vec![DoubleDouble::ONE; n])];
    let columns = design.columns.iter().map(|c| weigh(c.clone())).collect();
    let qr = Qr::new(columns, &mut right).map_err(|r| LinearError::Rank {
        column: design.names[r.column].clone(),
        index: r.column,
        digits: r.digits,
    })?;
    let p = design.columns.len();
    let coefficients = qr.solve(&right[0]);
    let residuals: Vec<DoubleDouble> = (0..n)
        .map(|i| y[i] - coefficients.iter().zip(&design.columns).map(|(b, c)| *b * c[i]).sum())
        .collect();
    let weight = |i: usize| weights.map_or(DoubleDouble::ONE, |w| DoubleDouble::from(w[i]));
    let rss: DoubleDouble = (0..n).map(|i| weight(i) * residuals[i] * residuals[i]).sum();
    // A constant that the columns make up leaves nothing of itself below their rows.
    let total_weight: DoubleDouble = (0..n).map(weight).sum();
    let outside: DoubleDouble = right[1][p..].iter().map(|v| *v * *v).sum();
    let has_constant = outside.to_f64() <= 1e-24 * total_weight.to_f64();
    let mean = if has_constant {
        (0..n).map(|i| weight(i) * y[i]).sum::<DoubleDouble>() / total_weight
    } else {
        DoubleDouble::ZERO
    };
    let tss: DoubleDouble = (0..n).map(|i| weight(i) * (y[i] - mean) * (y[i] - mean)).sum();
    let unscaled_covariance = qr.inverse_of_gram();
    let f64s = |v: &[DoubleDouble]| v.iter().map(|v| v.to_f64()).collect::<Vec<f64>>();
    Ok(LinearFit {
        names: design.names.clone(),
        coefficients: f64s(&coefficients),
        unscaled_covariance: unscaled_covariance.iter().map(|row| f64s(row)).collect(),
        residuals: f64s(&residuals),
        residual_sum_of_squares: rss.to_f64(),
        total_sum_of_squares: tss.to_f64(),
        explained_sum_of_squares: (tss - rss).to_f64(),
        has_constant,
        r_squared: if tss.to_f64() > 0.0 { (DoubleDouble::ONE - rss / tss).to_f64() } else { 1.0 },
        degrees_of_freedom: points - p,
        exact: Exact { coefficients, unscaled_covariance },
    })
}

/// Checks shapes and values; answers how many points have a weight.
fn check(design: &Design, values: &[DoubleDouble], weights: Option<&[f64]>) -> Result<usize, LinearError> {
    let n = values.len();
    if design.columns.is_empty() {
        return Err(LinearError::NoColumn);
    }
    let rows = |column: &str, found: usize| {
        if found == n {
            return Ok(());
        }
        Err(LinearError::Rows { column: column.to_owned(), expected: n, found })
    };
    for (name, column) in design.names.iter().zip(&design.columns) {
        rows(name, column.len())?;
        if let Some(i) = column.iter().position(|v| !v.is_finite()) {
            return Err(value(name, i, "a finite number", column[i].to_f64()));
        }
    }
    if let Some(i) = values.iter().position(|v| !v.is_finite()) {
        return Err(value("values", i, "a finite number", values[i].to_f64()));
    }
    let mut points = n;
    if let Some(weights) = weights {
        rows("weights", weights.len())?;
        if let Some(i) = weights.iter().position(|w| !(w.is_finite() && *w >= 0.0)) {
            return Err(value("weights", i, "a finite weight of at least 0", weights[i]));
        }
        points = weights.iter().filter(|w| **w > 0.0).count();
    }
    if points < design.columns.len() {
        return Err(LinearError::TooFew { expected: design.columns.len(), found: points });
    }
    Ok(points)
}

fn value(column: &str, index: usize, expected: &'static str, found: f64) -> LinearError {
    LinearError::Value { column: column.to_owned(), point: index + 1, expected, found }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_points_on_it_is_found_exactly() {
        let x = [1.0, 2.0, 3.0, 4.0];
        let design = Design::new().with_constant("one", 4).with("x", &x);
        let fit = least_squares(&design, &[5.0, 7.0, 9.0, 11.0], None).unwrap();
        assert_eq!((fit.coefficients.as_slice(), fit.degrees_of_freedom), ([3.0, 2.0].as_slice(), 2));
        assert!(fit.has_constant && fit.residual_sd().unwrap() < 1e-30);
    }

    #[test]
    fn a_column_made_of_others_is_named() {
        let (a, b) = ([1.0, 0.1, 0.3, 0.7, 0.9], [0.2, 0.4, 0.5, 0.1, 0.8]);
        let both: Vec<f64> = a.iter().zip(&b).map(|(a, b)| 0.1 * a + 0.7 * b).collect();
        let design = Design::new().with("a", &a).with("b", &b).with("both", &both);
        let error = least_squares(&design, &[1.0; 5], None).unwrap_err();
        assert!(matches!(&error, LinearError::Rank { column, index: 2, .. } if column == "both"), "{error}");
        let zero = Design::new().with("nothing", &[0.0; 5]);
        assert!(matches!(least_squares(&zero, &[1.0; 5], None), Err(LinearError::Rank { .. })));
    }

    #[test]
    fn dummies_that_add_up_to_one_count_as_a_constant() {
        let (a, b) = ([1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]);
        let design = Design::new().with("a", &a).with("b", &b);
        let fit = least_squares(&design, &[1.0, 3.0, 5.0, 9.0], None).unwrap();
        assert!(fit.has_constant);
        assert_eq!(fit.coefficients, [2.0, 7.0]);
        assert!((fit.r_squared - (1.0 - 10.0 / 35.0)).abs() < 1e-15);
        assert_eq!(fit.f_statistic().map(|f| (f.1, f.2)), Some((1, 2)));
        // The difference of two means of two: SD² · (1/2 + 1/2).
        assert!((fit.combination(&[-1.0, 1.0]) - 5.0).abs() < 1e-15);
        assert!((fit.combination_se(&[-1.0, 1.0]).unwrap() - 5.0_f64.sqrt()).abs() < 1e-14);
    }

    #[test]
    fn a_point_of_weight_two_is_the_point_given_twice_but_for_the_degrees_of_freedom() {
        let once = Design::new().with_constant("one", 4).with("x", &[1.0, 2.0, 3.0, 5.0]);
        let weighted = least_squares(&once, &[1.0, 2.5, 2.0, 6.0], Some(&[1.0, 2.0, 1.0, 0.0])).unwrap();
        let twice = Design::new().with_constant("one", 4).with("x", &[1.0, 2.0, 2.0, 3.0]);
        let plain = least_squares(&twice, &[1.0, 2.5, 2.5, 2.0], None).unwrap();
        for i in 0..2 {
            assert!((weighted.coefficients[i] - plain.coefficients[i]).abs() < 1e-14);
            assert!((weighted.unscaled_covariance[i][i] - plain.unscaled_covariance[i][i]).abs() < 1e-14);
        }
        assert!((weighted.r_squared - plain.r_squared).abs() < 1e-14);
        assert_eq!((weighted.degrees_of_freedom, plain.degrees_of_freedom), (1, 2));
    }

    #[test]
    fn wrong_shapes_and_values_are_told_apart() {
        let design = Design::new().with("x", &[1.0, 2.0]);
        assert!(matches!(least_squares(&design, &[1.0], None), Err(LinearError::Rows { .. })));
        assert!(matches!(
            least_squares(&design, &[1.0, f64::NAN], None),
            Err(LinearError::Value { point: 2, .. })
        ));
        let low = least_squares(&design, &[1.0, 2.0], Some(&[1.0, -1.0]));
        assert!(matches!(low, Err(LinearError::Value { point: 2, .. })));
        let none = least_squares(&design, &[1.0, 2.0], Some(&[0.0, 0.0]));
        assert!(matches!(none, Err(LinearError::TooFew { expected: 1, found: 0 })));
        assert_eq!(least_squares(&Design::new(), &[1.0], None).unwrap_err(), LinearError::NoColumn);
        let exact = least_squares(&Design::new().with_constant("one", 1), &[4.0], None).unwrap();
        assert_eq!((exact.residual_sd(), exact.standard_error(0)), (None, None));
    }
}
