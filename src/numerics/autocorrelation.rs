//! Least squares whose residuals follow each other: first-order autocorrelation, and runs of one sign.
//!
//! The standard errors are those of ordinary least squares under first-order autoregressive residuals,
//! (J'J)⁻¹J'ΣJ(J'J)⁻¹ with Σ = σ²ρ^|i−j| (the exact form of the effective number of observations of Bayley and
//! Hammersley 1946, Suppl. J. R. Stat. Soc. 8:184). The fit takes slow residuals for its own, so that ρ
//! read off them is too small; here it is the ρ whose expected lag-1 autocorrelation of the residuals of just
//! this fit equals what was found. Runs: Wald and Wolfowitz (1940, Ann. Math. Stat. 11:147). Must not know
//! what is fitted.

use super::distributions::normal_cdf;
use nalgebra::{DMatrix, DVector};

/// Greatest ρ that is believed: beyond it the residuals of some hundred points are a walk, whose spread the
/// points cannot tell.
const RHO_MAX: f64 = 0.999;
/// Halvings of the range of ρ: 2⁻³⁰ is far below what residuals can tell.
const HALVINGS: usize = 30;

/// Covariance of the parameters of a least-squares fit whose residuals are autocorrelated.
#[derive(Clone, Debug, PartialEq)]
pub struct Widened {
    /// Covariance of the parameters.
    pub covariance: DMatrix<f64>,
    /// Autocorrelation of neighbouring errors, 0 to 0.999.
    pub rho: f64,
}

/// Covariance of the parameters from the Jacobian and the residuals at the minimum, in the order of time and
/// evenly spaced. `least_rho` is the ρ that is known beforehand; what the residuals show counts where it is greater.
///
/// None where the columns cannot be distinguished, or where the residuals follow each other more closely than
/// with ρ = 0.999. A negative ρ counts as 0: errors are never narrowed.
#[must_use]
pub fn widened(jacobian: &DMatrix<f64>, residuals: &DVector<f64>, least_rho: f64) -> Option<Widened> {
    let n = jacobian.nrows();
    let norms: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    if n <= jacobian.ncols() || norms.iter().any(|v| *v <= 0.0 || !v.is_finite()) {
        return None;
    }
    let scaled = DMatrix::from_fn(n, norms.len(), |i, k| jacobian[(i, k)] / norms[k]);
    let qr = scaled.qr();
    let (q, r) = (qr.q(), qr.r().try_inverse()?);
    let squares = residuals.norm_squared();
    let found = lag_products(residuals) / squares;
    let rho =
        if squares > 0.0 { rho_for(&q, found)? } else { 0.0 }.clamp(least_rho.clamp(0.0, RHO_MAX), RHO_MAX);
    let inner = q.transpose() * spread_by(&q, rho);
    let variance = squares / (n as f64 - inner.trace());
    let unscale = DMatrix::from_fn(norms.len(), norms.len(), |i, k| r[(i, k)] / norms[i]);
    let covariance = (&unscale * inner * unscale.transpose()) * variance;
    covariance.iter().all(|v| v.is_finite()).then_some(Widened { covariance, rho })
}

fn lag_products(e: &DVector<f64>) -> f64 {
    e.as_slice().windows(2).map(|w| w[0] * w[1]).sum()
}

/// Each column multiplied by the matrix of ρ^|i−j|.
fn spread_by(q: &DMatrix<f64>, rho: f64) -> DMatrix<f64> {
    let mut out = q.clone();
    for (mut to, from) in out.column_iter_mut().zip(q.column_iter()) {
        let n = from.len();
        let mut after = 0.0;
        for i in (0..n).rev() {
            to[i] += after;
            after = rho * (from[i] + after);
        }
        let mut before = 0.0;
        for i in 0..n {
            to[i] += before;
            before = rho * (from[i] + before);
        }
    }
    out
}

/// Expected lag-1 products over expected squares of the residuals, where the errors' autocorrelation is ρ.
fn expected(q: &DMatrix<f64>, rho: f64) -> f64 {
    let n = q.nrows();
    let spread = spread_by(q, rho);
    let inner = q.transpose() * &spread;
    let (upper, lower) = (q.rows(0, n - 1), q.rows(1, n - 1));
    let (spread_upper, spread_lower) = (spread.rows(0, n - 1), spread.rows(1, n - 1));
    let shifted = upper.transpose() * lower;
    let products = (n - 1) as f64 * rho - spread_upper.dot(&lower) - upper.dot(&spread_lower)
        + (shifted * &inner).trace();
    products / (n as f64 - inner.trace())
}

fn rho_for(q: &DMatrix<f64>, found: f64) -> Option<f64> {
    if found <= expected(q, 0.0) {
        return Some(0.0);
    }
    if found > expected(q, RHO_MAX) {
        return None;
    }
    let (mut low, mut high) = (0.0, RHO_MAX);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if expected(q, middle) < found { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// What is left of residuals once ρ of the one before is taken away.
#[must_use]
pub fn whitened(residuals: &[f64], rho: f64) -> Vec<f64> {
    residuals.windows(2).map(|w| w[1] - rho * w[0]).collect()
}

/// Wald and Wolfowitz's test: the chance of so few runs of one sign, or fewer, were the signs in random order.
///
/// Normal approximation with a correction for continuity; none where either sign is there fewer than
/// five times (too few for it).
#[must_use]
pub fn too_few_runs_p(above: impl Iterator<Item = bool>) -> Option<f64> {
    let (mut ups, mut downs, mut runs, mut before) = (0.0_f64, 0.0_f64, 0.0_f64, None);
    for up in above {
        if up {
            ups += 1.0
        } else {
            downs += 1.0
        }
        if before != Some(up) {
            runs += 1.0;
        }
        before = Some(up);
    }
    if ups < 5.0 || downs < 5.0 {
        return None;
    }
    let n = ups + downs;
    let pairs = 2.0 * ups * downs;
    let (centre, variance) = (1.0 + pairs / n, pairs * (pairs - n) / (n * n * (n - 1.0)));
    Some(normal_cdf((runs + 0.5 - centre) / variance.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(n: usize) -> DMatrix<f64> {
        DMatrix::from_fn(n, 2, |i, k| if k == 0 { 1.0 } else { i as f64 })
    }

    fn correlation(n: usize, rho: f64) -> DMatrix<f64> {
        DMatrix::from_fn(n, n, |i, j| rho.powi((i as i32 - j as i32).abs()))
    }

    /// Against the formulas written out with whole matrices.
    #[test]
    fn covariance_and_expected_autocorrelation_equal_the_whole_matrices() {
        let (n, rho) = (9, 0.6);
        let j = line(n);
        let sigma = correlation(n, rho);
        let inverse = (j.transpose() * &j).try_inverse().unwrap();
        let left = DMatrix::identity(n, n) - &j * &inverse * j.transpose();
        let q = j.clone().qr().q();
        assert!((spread_by(&q, rho) - &sigma * &q).norm() < 1e-12);
        let spread = &left * &sigma * &left;
        let shift = DMatrix::from_fn(n, n, |i, k| if k == i + 1 { 1.0 } else { 0.0 });
        let wanted = (shift * &spread).trace() / spread.trace();
        assert!((expected(&q, rho) - wanted).abs() < 1e-12);
        // Residuals whose lag-1 autocorrelation is below what white errors give: ρ stays at the least one.
        let e = DVector::from_fn(n, |i, _| if i % 2 == 0 { 1.0 } else { -1.0 });
        let found = widened(&j, &e, rho).unwrap();
        let variance = e.norm_squared() / (left * &sigma).trace();
        let whole = &inverse * j.transpose() * &sigma * &j * &inverse * variance;
        assert!((found.covariance - &whole).norm() < 1e-9 * whole.norm() && found.rho == rho);
    }

    #[test]
    fn white_residuals_give_the_errors_of_ordinary_least_squares() {
        // Five points of slope 0.8 whose residuals alternate: s² = 3.6/3, variance of the slope s²/10.
        let e = DVector::from_vec(vec![-0.4, 0.8, -1.0, 1.2, -0.6]);
        let found = widened(&line(5), &e, 0.0).unwrap();
        assert!((found.covariance[(1, 1)] - 0.12).abs() < 1e-12 && found.rho == 0.0);
    }

    #[test]
    fn residuals_that_walk_in_one_arc_have_no_error() {
        let e = DVector::from_fn(40, |i, _| {
            let u = i as f64 / 19.5 - 1.0;
            u * u - 0.35
        });
        assert_eq!(widened(&line(40), &e, 0.0), None);
    }

    /// All orders of five and six signs counted out: 462 of them.
    #[test]
    fn the_chance_of_few_runs_is_that_of_counting_all_orders() {
        let runs = |bits: u32| 1 + (0..10).filter(|i| (bits >> i ^ bits >> (i + 1)) & 1 == 1).count();
        let orders: Vec<u32> = (0..1_u32 << 11).filter(|b| b.count_ones() == 5).collect();
        for few in 2..=6 {
            let share = orders.iter().filter(|b| runs(**b) <= few).count() as f64 / orders.len() as f64;
            let order = orders.iter().find(|b| runs(**b) == few).unwrap();
            let p = too_few_runs_p((0..11).map(|i| order >> i & 1 == 1)).unwrap();
            // The normal approximation of so few signs.
            assert!((p - share).abs() < 0.02, "{few} runs: {p} {share}");
        }
        assert_eq!(too_few_runs_p([true, false, true, false].into_iter()), None);
    }
}
