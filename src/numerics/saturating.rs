//! Least squares of the saturating exponential y = L·(1 − exp(−r·(x − x0))), and of its root.
//!
//! The minimiser is the `levenberg-marquardt` crate (MINPACK's method); the start, the standard errors
//! and the tests of convergence are here. Checked against the NIST StRD sets Misra1a and BoxBOD.

use super::autocorrelation::{Widened, widened};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// How y nears its limit; u = r·(x − x0).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Approach {
    /// y = L·(1 − exp(−u)).
    Exponential,
    /// y = L·√(1 − exp(−u)): the square of y nears that of its limit exponentially.
    Root,
}

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
    approach: Approach,
    p: DVector<f64>,
}

/// The root has no slope where it begins; nearer to it than this share of the limit it counts as this far.
const ROOT_MIN: f64 = 1e-6;

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
        let shape = |x: &f64| {
            let risen = -libm::expm1(-rate * (x - start));
            match self.approach {
                Approach::Exponential => risen,
                Approach::Root => libm::sqrt(risen.max(0.0)),
            }
        };
        let r = DVector::from_iterator(
            self.x.len(),
            self.x.iter().zip(self.y).map(|(x, y)| limit * shape(x) - y),
        );
        r.iter().all(|v| v.is_finite()).then_some(r)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let (limit, rate, start) = self.parameters();
        let j = DMatrix::from_fn(self.x.len(), self.p.len(), |i, k| {
            let u = self.x[i] - start;
            let e = libm::exp(-rate * u);
            let risen = -libm::expm1(-rate * u);
            let (value, slope) = match self.approach {
                Approach::Exponential => (risen, e),
                Approach::Root if risen <= 0.0 => (0.0, 0.0),
                Approach::Root => {
                    let root = libm::sqrt(risen).max(ROOT_MIN);
                    (root, 0.5 * e / root)
                }
            };
            match k {
                0 => value,
                1 => limit * u * slope,
                _ => -limit * rate * slope,
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
    finish(&minimise(x, y, start, Approach::Exponential)?)
}

/// A fitted approach with what its residuals say.
#[derive(Clone, Debug, PartialEq)]
pub struct Approached {
    /// The fit, its standard errors as if each value stood for itself.
    pub fit: Saturating,
    /// y less the fit, in the order of x.
    pub residuals: Vec<f64>,
    /// Covariance of (L, r, x0), widened for autocorrelated residuals; none where they follow each other so closely
    /// that no error can be stated.
    pub widened: Option<Widened>,
}

/// Fits an approach with x0 free to points with x ascending and evenly spaced.
///
/// None as in [`fit_saturating`].
#[must_use]
pub fn fit_approach(x: &[f64], y: &[f64], approach: Approach) -> Option<Approached> {
    let problem = minimise(x, y, None, approach)?;
    let fit = finish(&problem)?;
    let residuals = problem.residuals()?;
    let spacing = (x.last()? - x.first()?) / (x.len() - 1) as f64;
    let widened = widened(&problem.jacobian()?, &residuals, libm::exp(-fit.rate * spacing));
    Some(Approached { fit, residuals: residuals.iter().map(|r| -r).collect(), widened })
}

fn minimise<'a>(x: &'a [f64], y: &'a [f64], start: Option<f64>, approach: Approach) -> Option<Problem<'a>> {
    let parameters = if start.is_some() { 2 } else { 3 };
    if x.len() != y.len() || x.len() < parameters + 2 {
        return None;
    }
    let (first, last) = (*x.first()?, *x.last()?);
    let highest = y.iter().copied().fold(f64::MIN, f64::max);
    let x0 = start.unwrap_or(first - 0.05 * (last - first));
    // Where the curve (or its square) has risen to 63 % of its limit, one time constant has passed.
    let share_at_63 = match approach {
        Approach::Exponential => 0.63,
        Approach::Root => libm::sqrt(0.63),
    };
    let at_63 = x.iter().zip(y).find(|(_, y)| **y >= share_at_63 * highest).map_or(last, |(x, _)| *x);
    let guess = 1.0 / (at_63 - x0).max(1e-3 * (last - x0));
    let mut p = vec![highest, guess];
    if start.is_none() {
        p.push(x0);
    }
    let problem = Problem { x, y, fixed_start: start, approach, p: DVector::from_vec(p) };
    let solver =
        LevenbergMarquardt::new().with_ftol(1e-15).with_xtol(1e-14).with_gtol(1e-15).with_patience(200);
    let (problem, report) = solver.minimize(problem);
    if !(report.termination.was_successful() || settled(&report.termination)) {
        return None;
    }
    Some(problem)
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

    #[test]
    fn the_root_form_is_found_and_its_slopes_are_those_of_differences() {
        let x: Vec<f64> = (0..40).map(|i| 0.05 + f64::from(i) * 0.1).collect();
        let y: Vec<f64> = x.iter().map(|x| 60.0 * (1.0 - (-(x + 0.02) / 0.8).exp()).sqrt()).collect();
        let f = fit_approach(&x, &y, Approach::Root).unwrap().fit;
        assert!(
            (f.limit - 60.0).abs() < 1e-6 && (f.rate - 1.25).abs() < 1e-6 && (f.start + 0.02).abs() < 1e-6
        );
        let at = |p: [f64; 3]| Problem {
            x: &x,
            y: &y,
            fixed_start: None,
            approach: Approach::Root,
            p: DVector::from_row_slice(&p),
        };
        let p = [55.0, 1.1, -0.03];
        let slopes = at(p).jacobian().unwrap();
        for k in 0..3 {
            let (mut up, mut down) = (p, p);
            let h = 1e-6 * p[k].abs();
            up[k] += h;
            down[k] -= h;
            let difference = (at(up).residuals().unwrap() - at(down).residuals().unwrap()) / (2.0 * h);
            assert!((difference - slopes.column(k)).amax() < 1e-4 * slopes.column(k).amax());
        }
    }

    #[test]
    fn of_two_approaches_the_true_one_leaves_the_smaller_residuals() {
        let x: Vec<f64> = (1..60).map(|i| f64::from(i) * 0.05).collect();
        for (truth, other) in
            [(Approach::Root, Approach::Exponential), (Approach::Exponential, Approach::Root)]
        {
            let y: Vec<f64> = x
                .iter()
                .enumerate()
                .map(|(i, x)| {
                    let risen = -(-x / 0.7_f64).exp_m1();
                    let shape = if truth == Approach::Root { risen.sqrt() } else { risen };
                    80.0 * shape + 0.05 * f64::from((i as i32 * 7) % 5 - 2)
                })
                .collect();
            let rss = |approach| fit_approach(&x, &y, approach).map_or(f64::INFINITY, |f| f.fit.rss);
            assert!(rss(truth) < 0.1 * rss(other), "{truth:?}: {} {}", rss(truth), rss(other));
        }
    }
}
