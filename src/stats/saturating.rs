//! Least squares of the saturating exponential y = L·(1 − exp(−r·(x − x0))).
//!
//! The minimiser is the `levenberg-marquardt` crate (MINPACK's method); the start, the standard errors
//! and the tests of convergence are here. Checked against the NIST StRD sets Misra1a and BoxBOD.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// A fitted saturating exponential.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Saturating {
    /// L, the limit, in units of y.
    pub limit: f64,
    /// Standard error of L.
    pub limit_se: f64,
    /// r, the rate, one over units of x.
    pub rate: f64,
    /// Standard error of r.
    pub rate_se: f64,
    /// x0, where the curve starts from zero.
    pub start: f64,
    /// Residual sum of squares.
    pub rss: f64,
    /// Points less parameters.
    pub degrees_of_freedom: usize,
}

struct Problem<'a> {
    x: &'a [f64],
    y: &'a [f64],
    fixed_start: Option<f64>,
    p: DVector<f64>,
}

impl Problem<'_> {
    fn parameters(&self) -> (f64, f64, f64) {
        (self.p[0], self.p[1], self.fixed_start.unwrap_or_else(|| self.p[self.p.len() - 1]))
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, p: &DVector<f64>) {
        self.p.copy_from(p);
    }

    fn params(&self) -> DVector<f64> {
        self.p.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let (limit, rate, start) = self.parameters();
        let r = DVector::from_iterator(
            self.x.len(),
            self.x.iter().zip(self.y).map(|(x, y)| -limit * libm::expm1(-rate * (x - start)) - y),
        );
        r.iter().all(|v| v.is_finite()).then_some(r)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let (limit, rate, start) = self.parameters();
        let j = DMatrix::from_fn(self.x.len(), self.p.len(), |i, k| {
            let u = self.x[i] - start;
            let e = libm::exp(-rate * u);
            match k {
                0 => -libm::expm1(-rate * u),
                1 => limit * u * e,
                _ => -limit * rate * e,
            }
        });
        j.iter().all(|v| v.is_finite()).then_some(j)
    }
}

/// Fits y = L·(1 − exp(−r·(x − x0))) to points with x ascending; x0 is fitted unless given.
///
/// None where there are fewer than two points more than parameters, where the minimiser does not
/// converge to a positive finite limit and rate, or where the errors cannot be told.
#[must_use]
pub fn fit_saturating(x: &[f64], y: &[f64], start: Option<f64>) -> Option<Saturating> {
    let parameters = if start.is_some() { 2 } else { 3 };
    if x.len() != y.len() || x.len() < parameters + 2 {
        return None;
    }
    let (first, last) = (*x.first()?, *x.last()?);
    let highest = y.iter().copied().fold(f64::MIN, f64::max);
    let x0 = start.unwrap_or(first - 0.05 * (last - first));
    // Where the curve has risen to 63 % of its limit, one time constant has passed.
    let at_63 = x.iter().zip(y).find(|(_, y)| **y >= 0.63 * highest).map_or(last, |(x, _)| *x);
    let guess = 1.0 / (at_63 - x0).max(1e-3 * (last - x0));
    let mut p = vec![highest, guess];
    if start.is_none() {
        p.push(x0);
    }
    let problem = Problem { x, y, fixed_start: start, p: DVector::from_vec(p) };
    let solver =
        LevenbergMarquardt::new().with_ftol(1e-15).with_xtol(1e-14).with_gtol(1e-15).with_patience(200);
    let (problem, report) = solver.minimize(problem);
    if !(report.termination.was_successful() || settled(&report.termination)) {
        return None;
    }
    finish(&problem)
}

/// The tolerances asked for are the finest double precision can give; meeting that floor is convergence.
fn settled(reason: &levenberg_marquardt::TerminationReason) -> bool {
    matches!(reason, levenberg_marquardt::TerminationReason::NoImprovementPossible(_))
}

fn finish(problem: &Problem<'_>) -> Option<Saturating> {
    let (limit, rate, start) = problem.parameters();
    let residuals = problem.residuals()?;
    let jacobian = problem.jacobian()?;
    let n = problem.p.len();
    let degrees_of_freedom = problem.x.len() - n;
    let rss = residuals.norm_squared();
    let s = (rss / degrees_of_freedom as f64).sqrt();
    // (J'J)⁻¹ from the QR of J with unit columns: R⁻¹ R⁻ᵀ, never the normal equations.
    let norms: Vec<f64> = (0..n).map(|k| jacobian.column(k).norm()).collect();
    if norms.iter().any(|v| *v <= 0.0 || v.is_nan()) {
        return None;
    }
    let scaled = DMatrix::from_fn(jacobian.nrows(), n, |i, k| jacobian[(i, k)] / norms[k]);
    let r_inv = scaled.qr().r().try_inverse()?;
    let se = |k: usize| s * r_inv.row(k).norm() / norms[k];
    let fit = Saturating { limit, limit_se: se(0), rate, rate_se: se(1), start, rss, degrees_of_freedom };
    let sound = fit.limit > 0.0 && fit.rate > 0.0 && fit.limit_se.is_finite() && fit.rate_se.is_finite();
    sound.then_some(fit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn digits_right(found: f64, certified: f64) -> f64 {
        -((found - certified).abs() / certified.abs()).max(1e-16).log10()
    }

    /// NIST/ITL StRD, nonlinear regression, Misra1a: y = b1·(1 − exp(−b2·x)).
    #[test]
    fn nist_misra1a_to_eight_digits() {
        let y = [
            10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78,
        ];
        let x =
            [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let f = fit_saturating(&x, &y, Some(0.0)).unwrap();
        assert!(digits_right(f.limit, 2.389_421_291_8e2) > 8.0);
        assert!(digits_right(f.rate, 5.501_564_318_1e-4) > 8.0);
        assert!(digits_right(f.limit_se, 2.707_007_524_1) > 7.0);
        assert!(digits_right(f.rate_se, 7.266_868_843_6e-6) > 7.0);
        assert!(digits_right(f.rss, 1.245_513_889_4e-1) > 8.0);
    }

    /// NIST/ITL StRD, nonlinear regression, BoxBOD (rated "higher" difficulty).
    #[test]
    fn nist_boxbod_to_eight_digits() {
        let (x, y) = ([1.0, 2.0, 3.0, 5.0, 7.0, 10.0], [109.0, 149.0, 149.0, 191.0, 213.0, 224.0]);
        let f = fit_saturating(&x, &y, Some(0.0)).unwrap();
        assert!(digits_right(f.limit, 2.138_094_088_9e2) > 8.0);
        assert!(digits_right(f.rate, 5.472_374_854_2e-1) > 8.0);
        assert!(digits_right(f.limit_se, 1.235_451_517_6e1) > 7.0);
        assert!(digits_right(f.rate_se, 1.045_599_323_7e-1) > 7.0);
        assert!(digits_right(f.rss, 1.168_008_876_6e3) > 8.0);
    }

    #[test]
    fn a_free_start_is_found_and_a_straight_line_is_refused_or_told_apart_by_its_error() {
        let x: Vec<f64> = (0..40).map(|i| 2.0 + f64::from(i) * 0.1).collect();
        let y: Vec<f64> = x.iter().map(|x| 60.0 * (1.0 - (-(x - 1.9) / 0.8).exp())).collect();
        let f = fit_saturating(&x, &y, None).unwrap();
        assert!(
            (f.limit - 60.0).abs() < 1e-6 && (f.rate - 1.25).abs() < 1e-6 && (f.start - 1.9).abs() < 1e-6
        );
        let line: Vec<f64> = x.iter().map(|x| 3.0 * x).collect();
        if let Some(f) = fit_saturating(&x, &line, None) {
            assert!(f.limit_se > 0.5 * f.limit || f.limit > 100.0);
        }
    }

    #[test]
    fn too_few_points_give_none() {
        assert_eq!(fit_saturating(&[1.0, 2.0, 3.0], &[1.0, 2.0, 2.5], Some(0.0)), None);
    }
}
