//! The abscissa that gives a reading: value, uncertainty with the line's whole covariance, exact limits.
//!
//! Limits are all x at which the reading would not be surprising: those where (f(x) − y)² is at most
//! t²·(s²/m + variance of f at x). For a line this is Fieller's theorem (Draper and Smith, Applied Regression
//! Analysis, 3.2), and there is no finite interval where the slope may be zero (g ≥ 1).

use boltscribe_numerics::PolynomialFit;
use boltscribe_numerics::distributions::t_two_sided_quantile;

/// An abscissa read back from a fitted polynomial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inverse {
    /// Where the polynomial takes the reading.
    pub x: f64,
    /// Standard uncertainty from the scatter of the reading and the covariance of the line.
    pub standard_uncertainty: f64,
    /// Limits at the level asked for; none where the interval is not finite.
    pub limits: Option<(f64, f64)>,
    /// x lies outside the calibrated range.
    pub outside: bool,
    /// Fieller's g for a line: how near the slope is to being lost in its uncertainty.
    pub g: Option<f64>,
}

/// Why there is no abscissa.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum InverseError {
    /// Without a degree of freedom nothing is known of the scatter.
    #[error("inverse: expected a fit with at least 1 degree of freedom, found none")]
    NoFreedom,
    /// Not reached within the range and as much again either side.
    #[error("inverse: expected a reading that the line takes between {low} and {high}, found {found}")]
    NotReached {
        /// Least x searched.
        low: f64,
        /// Greatest.
        high: f64,
        /// The reading.
        found: f64,
    },
}

/// Parts of the range in which the polynomial is searched for the reading.
const PARTS: usize = 256;

/// Reads x back from `y`, a mean of `readings` readings, with limits at `level` (such as 0.95).
///
/// # Errors
/// A fit without a degree of freedom; a reading that the line does not take in its range and once more
/// its width to either side.
pub fn inverse(fit: &PolynomialFit, y: f64, readings: usize, level: f64) -> Result<Inverse, InverseError> {
    let s = fit.centred.residual_sd().ok_or(InverseError::NoFreedom)?;
    let x = solve(fit, y)?;
    let scatter = s * s / readings.max(1) as f64;
    let spread = |x: f64| scatter + s * s * fit.centred.unscaled_variance(&fit.row(x));
    let u = libm::sqrt(spread(x)) / fit.slope(x).abs();
    let t = t_two_sided_quantile(level, fit.centred.degrees_of_freedom as f64);
    let g = (fit.degree() == 1).then(|| {
        let slope_se = s * libm::sqrt(fit.unscaled_covariance[1][1]);
        (t * slope_se / fit.coefficients[1]).powi(2)
    });
    let surprising = |x: f64| (fit.value(x) - y).powi(2) > t * t * spread(x);
    let finite = g.is_none_or(|g| g < 1.0);
    let limits = finite
        .then(|| Some((limit(&surprising, x, -u, fit.degree())?, limit(&surprising, x, u, fit.degree())?)))
        .flatten();
    let (low, high) = fit.range;
    Ok(Inverse { x, standard_uncertainty: u, limits, outside: !(low..=high).contains(&x), g })
}

/// Where the polynomial takes `y`: in its range, else at the least distance from it.
pub(super) fn solve(fit: &PolynomialFit, y: f64) -> Result<f64, InverseError> {
    let (low, high) = fit.range;
    let width = high - low;
    let gap = |x: f64| fit.value(x) - y;
    if fit.degree() == 1 {
        let (c, slope) = (&fit.centred.coefficients, fit.centred.coefficients[1]);
        let x = fit.centre + fit.scale * ((y - c[0]) / slope);
        return if x.is_finite() { Ok(x) } else { Err(InverseError::NotReached { low, high, found: y }) };
    }
    let step = width / PARTS as f64;
    let inside = (0..PARTS).map(|i| (low + i as f64 * step, low + (i + 1) as f64 * step));
    let outside = (0..PARTS).flat_map(|i| {
        let off = i as f64 * step;
        [(high + off, high + off + step), (low - off - step, low - off)]
    });
    let crossing = inside.chain(outside).find(|(a, b)| gap(*a) * gap(*b) <= 0.0);
    let Some((mut a, mut b)) = crossing else {
        return Err(InverseError::NotReached { low: low - width, high: high + width, found: y });
    };
    let rising = gap(b) >= gap(a);
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        if middle <= a || middle >= b {
            break;
        }
        if (gap(middle) < 0.0) == rising {
            a = middle;
        } else {
            b = middle;
        }
    }
    Ok(if gap(a).abs() < gap(b).abs() { a } else { b })
}

/// The nearest x beyond which the reading would be surprising, stepping away from `x` by multiples of `step`.
fn limit(surprising: &impl Fn(f64) -> bool, x: f64, step: f64, degree: usize) -> Option<f64> {
    // A line may run far before its limit; a curve of higher degree means nothing that far out.
    let doublings = if degree == 1 { 60 } else { 12 };
    let (mut near, mut far) = (x, x + step);
    let mut size = step;
    let mut left = doublings;
    while !surprising(far) {
        if left == 0 || !far.is_finite() {
            return None;
        }
        left -= 1;
        size *= 2.0;
        (near, far) = (far, x + size);
    }
    for _ in 0..200 {
        let middle = 0.5 * (near + far);
        if middle == near || middle == far {
            break;
        }
        if surprising(middle) {
            far = middle;
        } else {
            near = middle;
        }
    }
    Some(0.5 * (near + far))
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_numerics::fit_polynomial;

    #[test]
    fn a_slope_lost_in_its_scatter_has_no_finite_limits() {
        let fit = fit_polynomial(&[1.0, 2.0, 3.0, 4.0], &[1.0, -1.5, 2.5, 0.3], 1, None).unwrap();
        let found = inverse(&fit, 0.6, 1, 0.95).unwrap();
        assert!(found.g.unwrap() >= 1.0, "{found:?}");
        assert_eq!(found.limits, None);
    }

    #[test]
    fn what_lies_outside_the_range_is_told_and_what_is_out_of_reach_refused() {
        let x: Vec<f64> = (0..8).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| x * x + if *x > 3.0 { 0.01 } else { -0.01 }).collect();
        let fit = fit_polynomial(&x, &y, 2, None).unwrap();
        assert!(inverse(&fit, 64.0, 1, 0.95).unwrap().outside);
        assert!(!inverse(&fit, 25.0, 1, 0.95).unwrap().outside);
        assert!(matches!(inverse(&fit, 1e6, 1, 0.95), Err(InverseError::NotReached { .. })));
        let exact = fit_polynomial(&[0.0, 1.0], &[0.0, 1.0], 1, None).unwrap();
        assert_eq!(inverse(&exact, 0.5, 1, 0.95), Err(InverseError::NoFreedom));
    }
}
