//! The ratio of two tensions by one calibration line: percent of baseline, with what cancels.
//!
//! Both tensions come through the same coefficients, so u²(R) = gA'V·gA + gB'V·gB − 2·gA'V·gB: the gain
//! drops out to first order, zero and curvature do not. How far the cell lies off the line at each of the two loads
//! drops out only where the loads are equal. Must not know what was coupled.

use super::tension_fit::TensionFit;

/// A ratio of tensions and its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// A over B.
    pub ratio: f64,
    /// From the calibration line alone, the covariance between A and B counted.
    pub line_u: f64,
    /// The same with the covariance left out: what a naive budget would say.
    pub line_u_without_covariance: f64,
    /// From the scatter about the line, independent at two loads and the same at one. Between loads that are near each
    /// other it is common in part, so this is too large rather than too small.
    pub scatter_u: f64,
    /// Of line, scatter and the readings' own uncertainties.
    pub standard_uncertainty: f64,
}

/// A tension as counts with the standard uncertainty of its reading (repeatability, noise), kN.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Read {
    /// Counts, zero not taken off.
    pub counts: f64,
    /// Counts of the zero that is taken off; none where the line's own zero holds.
    pub zero_counts: Option<f64>,
    /// Standard uncertainty of the reading, independent between A and B, kN.
    pub reading_u_kn: f64,
}

/// The ratio of A to B through one calibration line; none where B is zero.
#[must_use]
pub fn ratio(fit: &TensionFit, a: Read, b: Read) -> Option<Ratio> {
    let row = |r: &Read| {
        let mut row = fit.polynomial.row(r.counts);
        if let Some(zero) = r.zero_counts {
            row.iter_mut().zip(fit.polynomial.row(zero)).for_each(|(x, z)| *x -= z);
        }
        row
    };
    let (row_a, row_b) = (row(&a), row(&b));
    let line = &fit.polynomial.centred;
    let (tension_a, tension_b) = (line.combination(&row_a), line.combination(&row_b));
    if tension_b == 0.0 {
        return None;
    }
    let ratio = tension_a / tension_b;
    // ∂R/∂coefficients by way of A and of B.
    let gradient_a: Vec<f64> = row_a.iter().map(|v| v / tension_b).collect();
    let gradient_b: Vec<f64> = row_b.iter().map(|v| v * ratio / tension_b).collect();
    let both: Vec<f64> = gradient_a.iter().zip(&gradient_b).map(|(a, b)| a - b).collect();
    let variance = |g: &[f64]| fit.residual_sd_kn * fit.residual_sd_kn * line.unscaled_variance(g);
    let line_variance = variance(&both).max(0.0);
    let apart = variance(&gradient_a) + variance(&gradient_b);
    // What lies off the line by the same e at one load makes (A + e)/(B + e), which moves by (1 − R)·e/B.
    let scatter = if a.counts == b.counts { (1.0 - ratio).abs() } else { libm::hypot(1.0, ratio) };
    let scatter_u = fit.residual_sd_kn * scatter / tension_b.abs();
    let reading_a = a.reading_u_kn / tension_b;
    let reading_b = b.reading_u_kn * ratio / tension_b;
    Some(Ratio {
        ratio,
        line_u: libm::sqrt(line_variance),
        line_u_without_covariance: libm::sqrt(apart),
        scatter_u,
        standard_uncertainty: libm::sqrt(
            line_variance + scatter_u * scatter_u + reading_a * reading_a + reading_b * reading_b,
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::super::tension_fit::fit_tension;
    use super::*;
    use boltscribe_numerics::DoubleDouble;

    fn line() -> TensionFit {
        let exact = |v: &[f64]| v.iter().map(|v| DoubleDouble::from(*v)).collect::<Vec<_>>();
        let counts = [0.0, 10_000.0, 20_000.0, 30_000.0, 40_000.0, 50_000.0];
        let tension = [0.02, 9.97, 20.03, 30.01, 39.95, 50.04];
        fit_tension(&exact(&counts), &exact(&tension), 1).unwrap()
    }

    #[test]
    fn with_the_zero_taken_off_the_gain_cancels_entirely() {
        let read = |counts| Read { counts, zero_counts: Some(100.0), reading_u_kn: 0.0 };
        let found = ratio(&line(), read(30_000.0), read(40_000.0)).unwrap();
        assert!((found.ratio - 29_900.0 / 39_900.0).abs() < 1e-12);
        assert!(found.line_u < 1e-12 && found.line_u_without_covariance > 1e-4);
    }

    #[test]
    fn scatter_about_the_line_cancels_only_where_the_loads_are_equal() {
        let read = |counts| Read { counts, zero_counts: Some(100.0), reading_u_kn: 0.0 };
        let fit = line();
        let found = ratio(&fit, read(20_000.0), read(40_000.0)).unwrap();
        let tension = fit.polynomial.value(40_000.0) - fit.polynomial.value(100.0);
        let expected = fit.residual_sd_kn / tension * found.ratio.hypot(1.0);
        assert!((found.scatter_u / expected - 1.0).abs() < 1e-12, "{found:?}");
        assert!((found.standard_uncertainty / expected - 1.0).abs() < 1e-6, "the line cancels: {found:?}");
        assert_eq!(ratio(&fit, read(40_000.0), read(40_000.0)).unwrap().scatter_u, 0.0);
    }

    #[test]
    fn with_the_lines_own_zero_its_uncertainty_stays() {
        let read = |counts| Read { counts, zero_counts: None, reading_u_kn: 0.0 };
        let found = ratio(&line(), read(30_000.0), read(40_000.0)).unwrap();
        assert!(found.line_u > 1e-5 && found.line_u < found.line_u_without_covariance);
        let same = ratio(&line(), read(30_000.0), read(30_000.0)).unwrap();
        assert!((same.ratio - 1.0).abs() < 1e-15 && same.line_u < 1e-15);
    }

    #[test]
    fn readings_add_their_own_scatter() {
        let read = |counts| Read { counts, zero_counts: Some(0.0), reading_u_kn: 0.1 };
        let found = ratio(&line(), read(40_000.0), read(40_000.0)).unwrap();
        assert!((found.standard_uncertainty - 0.1 * 2.0_f64.sqrt() / 40.0).abs() < 1e-5);
    }
}
