//! Losses that add as compliances do: 1/F² of a chain is that of the tool and one more for each piece.
//!
//! A blow's energy that a spring takes up goes with its compliance; the tension reached then falls as the root. Which of
//! the two laws holds is for the runs to say (lack of fit). ln(F) = −½·ln(x·θ) + slope·t by Gauss and Newton's method, so
//! errors are those of the product, shares of the value. Must not know what pieces there are.

use boltscribe_numerics::{Design, LinearFit, least_squares};

/// Most steps.
const STEPS: usize = 60;
/// A step below this changes nothing.
const SMALL: f64 = 1e-13;

/// A fit of compliances.
#[derive(Clone, Debug)]
pub(super) struct Compliance {
    /// The last linearised fit: covariance and residuals are its own.
    pub fit: LinearFit,
    /// Compliances by column, those of a value of 1 in the unit of `fit`.
    pub theta: Vec<f64>,
    /// The slope of ln(value) in time, where one was fitted.
    pub slope: Option<f64>,
}

/// Fits columns to logarithms of values; none where the method does not settle or a compliance is not above zero.
pub(super) fn fit(columns: &[Vec<f64>], hours: Option<&[f64]>, ln: &[f64]) -> Option<Compliance> {
    let n = ln.len();
    let centre = ln.iter().sum::<f64>() / n as f64;
    let y: Vec<f64> = ln.iter().map(|v| v - centre).collect();
    let row = |i: usize| columns.iter().map(move |column| column[i]);
    let mut start = Design::new();
    for (k, column) in columns.iter().enumerate() {
        start = start.with(format!("column {k}"), column);
    }
    let z: Vec<f64> = y.iter().map(|v| libm::exp(-2.0 * v)).collect();
    let weights: Vec<f64> = z.iter().map(|z| 1.0 / (z * z)).collect();
    let mut theta = least_squares(&start, &z, Some(&weights)).ok()?.coefficients;
    let mut slope = hours.map(|_| 0.0);
    for _ in 0..STEPS {
        let of_row = |i: usize| row(i).zip(&theta).map(|(x, t)| x * t).sum::<f64>();
        let chains: Vec<f64> = (0..n).map(of_row).collect();
        if chains.iter().any(|z| *z <= 0.0) {
            return None;
        }
        let hour = |i: usize| hours.map_or(0.0, |hours| hours[i]);
        let left: Vec<f64> =
            (0..n).map(|i| y[i] + 0.5 * libm::log(chains[i]) - slope.unwrap_or(0.0) * hour(i)).collect();
        let mut jacobian = Design::new();
        for (k, column) in columns.iter().enumerate() {
            let of: Vec<f64> = column.iter().zip(&chains).map(|(x, z)| -0.5 * x / z).collect();
            jacobian = jacobian.with(format!("column {k}"), &of);
        }
        if let Some(hours) = hours {
            jacobian = jacobian.with("time", hours);
        }
        let step = least_squares(&jacobian, &left, None).ok()?;
        let longest = step.coefficients.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        for (t, by) in theta.iter_mut().zip(&step.coefficients) {
            *t += by;
        }
        slope = slope.map(|slope| slope + step.coefficients[columns.len()]);
        if longest < SMALL {
            return Some(Compliance { fit: step, theta, slope });
        }
    }
    None
}

impl Compliance {
    /// ln of what a change of the chain leaves, and its gradient; none where a compliance is not above zero.
    pub fn effect(&self, base: &[f64], change: &[f64]) -> Option<(f64, Vec<f64>)> {
        let dot = |x: &[f64]| x.iter().zip(&self.theta).map(|(x, t)| x * t).sum::<f64>();
        let (before, after) = (dot(base), dot(base) + dot(change));
        if before <= 0.0 || after <= 0.0 {
            return None;
        }
        let gradient = base.iter().zip(change).map(|(b, c)| 0.5 * (b / before - (b + c) / after)).collect();
        Some((0.5 * libm::log(before / after), gradient))
    }
}
