//! The point that stands furthest off a fitted polynomial, and whether that is more than scatter.
//!
//! Residuals are studentised with the point left out (Cook and Weisberg, Residuals and Influence in
//! Regression, 2.2.1); p is that of the largest of n by Bonferroni. Nothing is ever left out because of it.

use boltscribe_numerics::PolynomialFit;
use boltscribe_numerics::distributions::t_two_sided;

/// A point off the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlier {
    /// Place of the point, from 0.
    pub index: usize,
    /// Its residual.
    pub residual: f64,
    /// Studentised with the point left out.
    pub t: f64,
    /// Probability of so large a residual among all the points by scatter alone.
    pub p_value: f64,
}

/// The point with the largest studentised residual; none where fewer than two degrees of freedom are left.
#[must_use]
pub fn worst(fit: &PolynomialFit, x: &[f64]) -> Option<Outlier> {
    let line = &fit.centred;
    let freedom = line.degrees_of_freedom.checked_sub(1).filter(|f| *f > 0)? as f64;
    let student = |(i, x): (usize, &f64)| {
        let own = 1.0 - line.unscaled_variance(&fit.row(*x));
        let residual = *line.residuals.get(i)?;
        let rest = (line.residual_sum_of_squares - residual * residual / own).max(0.0);
        let t = residual / libm::sqrt(rest / freedom * own);
        t.is_finite().then_some((i, residual, t))
    };
    let (index, residual, t) =
        x.iter().enumerate().filter_map(student).max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))?;
    let p_value = (x.len() as f64 * t_two_sided(t, freedom)).min(1.0);
    Some(Outlier { index, residual, t, p_value })
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_numerics::fit_polynomial;

    #[test]
    fn a_slip_in_one_point_stands_out_and_scatter_does_not() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let mut y: Vec<f64> =
            x.iter().enumerate().map(|(i, x)| 3.0 * x + [0.01, -0.02, 0.015][i % 3]).collect();
        let calm = worst(&fit_polynomial(&x, &y, 1, None).unwrap(), &x).unwrap();
        assert!(calm.p_value > 0.05, "{calm:?}");
        y[7] += 0.5;
        let slip = worst(&fit_polynomial(&x, &y, 1, None).unwrap(), &x).unwrap();
        assert!(slip.index == 7 && slip.p_value < 1e-6, "{slip:?}");
    }
}
