//! A straight line, or a parabola, through values of which the small ones are only known to be small.
//!
//! Tobin's model (1958, Econometrica 26:24): y = Xβ + σε with gaussian ε; values at or under a bound of their
//! own are known to lie there and no more. The likelihood is concave in (β/σ, 1/σ) (Olsen 1978, Econometrica
//! 46:1211), so Newton's method finds its one maximum from anywhere. Must not know what is measured.

use super::distributions::{normal_cdf, normal_density};
use nalgebra::{DMatrix, DVector};

/// Most steps of Newton's method; from ordinary least squares some six are needed.
const STEPS_MAX: usize = 60;
/// Newton's decrement (the square of a step in standard errors) under which no figure changes: 1e-6 of a
/// standard error, well above what rounding leaves.
const DECREMENT_MIN: f64 = 1e-12;
/// Below this many SD the normal distribution's tail is taken from its asymptotic series (Abramowitz and
/// Stegun 26.2.12), because its value nears the smallest double.
const TAIL_Z: f64 = -30.0;

/// One value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// Known.
    Value(f64),
    /// At or under this, and no more is known.
    AtMost(f64),
}

/// What was fitted, in units of y.
#[derive(Clone, Debug, PartialEq)]
pub struct Censored {
    /// β, in the order of the columns.
    pub coefficients: Vec<f64>,
    /// Covariance of (β, σ), from the curvature of the likelihood at its maximum.
    pub covariance: DMatrix<f64>,
    /// σ, SD of y about Xβ.
    pub sd: f64,
    /// Logarithm of the greatest likelihood.
    pub log_likelihood: f64,
}

impl Censored {
    /// Standard error of a smooth function of (β, σ) with this gradient.
    #[must_use]
    pub fn se(&self, gradient: &[f64]) -> f64 {
        let g = DVector::from_column_slice(gradient);
        (g.transpose() * &self.covariance * &g)[(0, 0)].max(0.0).sqrt()
    }
}

/// ln Φ(z) and the derivative φ(z)/Φ(z).
fn log_cdf(z: f64) -> (f64, f64) {
    if z < TAIL_Z {
        let log = -0.5 * z * z - libm::log(-z) - 0.5 * libm::log(2.0 * core::f64::consts::PI);
        return (log - 1.0 / (z * z), -z + 1.0 / -z);
    }
    let below = normal_cdf(z);
    (libm::log(below), normal_density(z) / below)
}

/// Value, gradient and curvature (negated, so positive) of the log-likelihood in (γ = β/σ, h = 1/σ).
fn likelihood(x: &[Vec<f64>], y: &[Seen], p: &DVector<f64>) -> (f64, DVector<f64>, DMatrix<f64>) {
    let k = p.len() - 1;
    let h = p[k];
    let (mut value, mut gradient, mut curvature) = (0.0, DVector::zeros(k + 1), DMatrix::zeros(k + 1, k + 1));
    let mut row = DVector::zeros(k + 1);
    for (x, y) in x.iter().zip(y) {
        let line: f64 = x.iter().zip(p.iter()).map(|(x, g)| x * g).sum();
        for (place, x) in row.iter_mut().zip(x) {
            *place = -x;
        }
        match y {
            Seen::Value(y) => {
                let z = h * y - line;
                row[k] = *y;
                value += libm::log(h) - 0.5 * z * z - 0.5 * libm::log(2.0 * core::f64::consts::PI);
                gradient.axpy(-z, &row, 1.0);
                gradient[k] += 1.0 / h;
                curvature.ger(1.0, &row, &row, 1.0);
                curvature[(k, k)] += 1.0 / (h * h);
            }
            Seen::AtMost(bound) => {
                let z = h * bound - line;
                row[k] = *bound;
                let (log, ratio) = log_cdf(z);
                value += log;
                gradient.axpy(ratio, &row, 1.0);
                curvature.ger((ratio * (z + ratio)).max(0.0), &row, &row, 1.0);
            }
        }
    }
    (value, gradient, curvature)
}

/// Fits y on the columns of x by the greatest likelihood.
///
/// None where fewer values are known than there are columns and two more, where nothing scatters, or where
/// the maximum is not found.
#[must_use]
pub fn fit_censored(x: &[Vec<f64>], y: &[Seen]) -> Option<Censored> {
    let k = x.first()?.len();
    let known = y.iter().filter(|y| matches!(y, Seen::Value(_))).count();
    if x.len() != y.len() || known < k + 2 {
        return None;
    }
    let spread = |of: &dyn Fn(usize) -> f64| (0..x.len()).map(of).fold(0.0_f64, |a, v| a.max(v.abs()));
    let units: Vec<f64> = (0..k).map(|j| spread(&|i| x[i][j])).collect();
    let value = |y: &Seen| match y {
        Seen::Value(v) | Seen::AtMost(v) => *v,
    };
    let unit = spread(&|i| value(&y[i]));
    if units.iter().any(|u| *u <= 0.0) || unit <= 0.0 || !unit.is_finite() {
        return None;
    }
    let x: Vec<Vec<f64>> = x.iter().map(|r| r.iter().zip(&units).map(|(x, u)| x / u).collect()).collect();
    let y: Vec<Seen> = y
        .iter()
        .map(|y| match y {
            Seen::Value(v) => Seen::Value(v / unit),
            Seen::AtMost(v) => Seen::AtMost(v / unit),
        })
        .collect();
    let p = maximise(&x, &y, start(&x, &y)?)?;
    finish(&x, &y, &p, &units, unit)
}

/// Ordinary least squares of all values, the bounds taken for values.
fn start(x: &[Vec<f64>], y: &[Seen]) -> Option<DVector<f64>> {
    let k = x[0].len();
    let design = DMatrix::from_fn(x.len(), k, |i, j| x[i][j]);
    let values = DVector::from_iterator(
        y.len(),
        y.iter().map(|y| match y {
            Seen::Value(v) | Seen::AtMost(v) => *v,
        }),
    );
    let qr = design.clone().qr();
    let beta = qr.r().solve_upper_triangular(&(qr.q().transpose() * &values))?;
    let sd = ((&values - &design * &beta).norm_squared() / (x.len() - k) as f64).sqrt();
    // Exact lines have no likelihood; anything a recording can hold scatters more.
    (sd > 1e-12).then(|| DVector::from_iterator(k + 1, beta.iter().map(|b| b / sd).chain([1.0 / sd])))
}

fn maximise(x: &[Vec<f64>], y: &[Seen], mut p: DVector<f64>) -> Option<DVector<f64>> {
    let last = p.len() - 1;
    let (mut value, mut gradient, mut curvature) = likelihood(x, y, &p);
    for _ in 0..STEPS_MAX {
        let step = curvature.clone().cholesky()?.solve(&gradient);
        let decrement = step.dot(&gradient);
        if decrement < DECREMENT_MIN {
            // The last step makes the rest of the error the square of what it was.
            return Some(p + step).filter(|p| p[last] > 0.0);
        }
        let mut share = 1.0;
        let next = loop {
            let trial = &p + &step * share;
            if trial[last] > 0.0 {
                let found = likelihood(x, y, &trial);
                if found.0.is_finite() && found.0 >= value {
                    break Some((trial, found));
                }
            }
            share *= 0.5;
            if share < 1e-10 {
                break None;
            }
        };
        // No better place along the step: rounding is reached where the step is small, else it failed.
        let Some((trial, found)) = next else { return (decrement < 1e-9).then_some(p) };
        p = trial;
        (value, gradient, curvature) = found;
    }
    None
}

/// Back from (β/σ, 1/σ) in scaled units to (β, σ).
fn finish(x: &[Vec<f64>], y: &[Seen], p: &DVector<f64>, units: &[f64], unit: f64) -> Option<Censored> {
    let k = units.len();
    let (log_likelihood, _, curvature) = likelihood(x, y, p);
    let inverse = curvature.cholesky()?.inverse();
    let h = p[k];
    // β = γ/h, σ = 1/h.
    let jacobian = DMatrix::from_fn(k + 1, k + 1, |i, j| {
        if i == k {
            if j == k { -unit / (h * h) } else { 0.0 }
        } else {
            let scale = unit / units[i];
            if j == i {
                scale / h
            } else if j == k {
                -scale * p[i] / (h * h)
            } else {
                0.0
            }
        }
    });
    let coefficients = (0..k).map(|j| p[j] / h * unit / units[j]).collect();
    let covariance = &jacobian * inverse * jacobian.transpose();
    covariance.iter().all(|v| v.is_finite()).then_some(Censored {
        coefficients,
        covariance,
        sd: unit / h,
        log_likelihood,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Deterministic, close to gaussian: the sum of twelve uniform numbers less six (Irwin and Hall).
    fn noise(state: &mut u64) -> f64 {
        (0..12)
            .map(|_| {
                *state =
                    state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (*state >> 11) as f64 / (1_u64 << 53) as f64
            })
            .sum::<f64>()
            - 6.0
    }

    /// Closed form: without bounds the greatest likelihood is least squares, σ² the mean of squared residuals, and
    /// the variance of the coefficients σ²(X'X)⁻¹, that of σ is σ²/2n.
    #[test]
    fn without_bounds_it_is_least_squares() {
        let x: Vec<Vec<f64>> = (0..5).map(|i| vec![1.0, f64::from(i)]).collect();
        let y: Vec<Seen> = [1.0, 3.0, 2.0, 5.0, 4.0].map(Seen::Value).to_vec();
        let f = fit_censored(&x, &y).unwrap();
        // Sxx = 10, Sxy = 8: slope 0.8, intercept 1.4; squared residuals sum to 3.6.
        assert!((f.coefficients[1] - 0.8).abs() < 1e-9 && (f.coefficients[0] - 1.4).abs() < 1e-9);
        assert!((f.sd - 0.72_f64.sqrt()).abs() < 1e-9);
        assert!((f.se(&[0.0, 1.0, 0.0]) - (0.72_f64 / 10.0).sqrt()).abs() < 1e-9);
        assert!((f.se(&[0.0, 0.0, 1.0]) - (0.72_f64 / 10.0).sqrt()).abs() < 1e-9);
    }

    #[test]
    fn no_neighbour_of_the_fit_is_likelier() {
        let (mut x, mut y, mut state) = (Vec::new(), Vec::new(), 7);
        for i in 0..60 {
            let at = f64::from(i) / 60.0;
            x.push(vec![1.0, at]);
            let value = 1.0 - 1.2 * at + 0.2 * noise(&mut state);
            y.push(if value > 0.1 { Seen::Value(value) } else { Seen::AtMost(0.1) });
        }
        let f = fit_censored(&x, &y).unwrap();
        let at = |coefficients: &[f64], sd: f64| {
            let p = DVector::from_iterator(3, coefficients.iter().map(|c| c / sd).chain([1.0 / sd]));
            likelihood(&x, &y, &p).0
        };
        let best = at(&f.coefficients, f.sd);
        for (k, step) in [(0, 1e-3), (0, -1e-3), (1, 1e-3), (1, -1e-3)] {
            let mut other = f.coefficients.clone();
            other[k] += step;
            assert!(at(&other, f.sd) < best);
        }
        assert!(at(&f.coefficients, f.sd * 1.01) < best && at(&f.coefficients, f.sd / 1.01) < best);
    }

    #[test]
    fn limits_of_two_standard_errors_hold_the_line_as_often_as_they_say_where_half_is_hidden() {
        let (mut inside, mut state, runs) = (0, 20_261_130, 400);
        for _ in 0..runs {
            let (mut x, mut y) = (Vec::new(), Vec::new());
            for i in 0..80 {
                let at = f64::from(i) / 40.0;
                x.push(vec![1.0, at]);
                let value = 1.0 - at + 0.3 * noise(&mut state);
                y.push(if value > 0.0 { Seen::Value(value) } else { Seen::AtMost(0.0) });
            }
            let f = fit_censored(&x, &y).unwrap();
            inside += i32::from((f.coefficients[1] + 1.0).abs() < 2.0 * f.se(&[0.0, 1.0, 0.0]));
        }
        // 95.4 % of 400 is 382; 4 SD of the binomial count is 17.
        assert!((365..=398).contains(&inside), "{inside}");
    }

    #[test]
    fn an_exact_line_and_too_few_values_give_none() {
        let x: Vec<Vec<f64>> = (0..6).map(|i| vec![1.0, f64::from(i)]).collect();
        let exact: Vec<Seen> = (0..6).map(|i| Seen::Value(2.0 * f64::from(i))).collect();
        assert_eq!(fit_censored(&x, &exact), None);
        let few = [Seen::Value(1.0), Seen::Value(3.0), Seen::Value(2.0)];
        let hidden: Vec<Seen> = few.into_iter().chain([Seen::AtMost(1.0); 3]).collect();
        assert_eq!(fit_censored(&x, &hidden), None);
    }

    #[test]
    fn the_tail_joins_the_function_without_a_step() {
        let (near, far) = (log_cdf(TAIL_Z + 1e-9), log_cdf(TAIL_Z - 1e-9));
        assert!((near.0 - far.0).abs() < 1e-5 * near.0.abs() && (near.1 - far.1).abs() < 1e-4 * near.1);
    }
}
