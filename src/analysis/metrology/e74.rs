//! Deflection on force after ASTM E74: degree 1 to 5, lower limit factor, class A and AA limits.
//!
//! The rule for the degree is that of annex A1, applied to means over runs; its formula, and that a limit
//! lies no lower than the lowest force applied, are taken from memory of the standard. Loads of zero take
//! no part in the fit.

use super::tension_fit::LLF_SDS;
use boltscribe_numerics::distributions::f_quantile;
use boltscribe_numerics::{DoubleDouble, PolynomialError, PolynomialFit, fit_polynomial_exact};

/// Highest degree.
pub const DEGREE_MAX: usize = 5;
/// Lower limit factors in the lowest force of class A: 0.25 %.
const CLASS_A_FACTORS: f64 = 400.0;
/// The same of class AA: 0.05 %.
const CLASS_AA_FACTORS: f64 = 2000.0;

/// One step of the rule for the degree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DegreeStep {
    /// The degree.
    pub degree: usize,
    /// Residual SD of the fit to the means over runs, units of deflection.
    pub residual_sd_of_means: f64,
    /// Residual SD of the degree below over this one; none for degree 1.
    pub ratio: Option<f64>,
    /// What it must pass for this degree to be kept; none for degree 1.
    pub limit: Option<f64>,
}

/// A fit after E74.
#[derive(Clone, Debug)]
pub struct E74Fit {
    /// Deflection on force.
    pub polynomial: PolynomialFit,
    /// Residual standard deviation, units of deflection.
    pub residual_sd: f64,
    /// The rule for the degree, lowest first.
    pub degree_steps: Vec<DegreeStep>,
    /// The degree that the rule gives.
    pub degree_by_rule: usize,
    /// 2.4 residual SDs, units of deflection.
    pub llf_deflection: f64,
    /// The same by the mean ratio of force to deflection, or the resolution where that is larger.
    pub llf_force: f64,
    /// The resolution was larger.
    pub resolution_governs: bool,
    /// Mean ratio of force to deflection.
    pub force_per_deflection: f64,
    /// Lowest force of class A.
    pub class_a_from: f64,
    /// Lowest force of class AA.
    pub class_aa_from: f64,
    /// Lowest and highest force applied.
    pub forces: (f64, f64),
}

/// Why there is no such fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum E74Error {
    /// Not 1 to 5.
    #[error("expected a degree from 1 to {DEGREE_MAX} for deflection on force, found {found}")]
    Degree {
        /// The degree asked for.
        found: usize,
    },
    /// No degree of freedom would be left.
    #[error("expected at least {expected} points with a load for degree {degree}, found {found}")]
    TooFew {
        /// The degree asked for.
        degree: usize,
        /// Fewest.
        expected: usize,
        /// How many.
        found: usize,
    },
    /// Mean ratio of force to deflection is no number.
    #[error("expected a deflection other than 0 at every load, found {found} without")]
    NoDeflection {
        /// How many.
        found: usize,
    },
    /// See there.
    #[error(transparent)]
    Polynomial(#[from] PolynomialError),
}

/// What the ratio of residual SDs must pass for degree `m` to be kept, from `n` different forces.
///
/// C(n, m) = √(1 + (F(0.975; 1, n − m − 1) − 1)/(n − m)); none where no degree of freedom is left.
#[must_use]
pub fn degree_limit(n: usize, m: usize) -> Option<f64> {
    let freedom = n.checked_sub(m + 1).filter(|f| *f > 0)?;
    let f = f_quantile(0.975, 1.0, freedom as f64);
    Some(libm::sqrt(1.0 + (f - 1.0) / (freedom + 1) as f64))
}

/// Fits deflection on force; the degree follows from the rule unless given. `resolution_force` is the
/// resolution of the instrument in units of force, 0 where it plays no part.
///
/// # Errors
/// A degree outside 1 to 5, points that leave no degree of freedom, too few different forces, a load without
/// deflection.
pub fn fit_e74(
    force: &[DoubleDouble],
    deflection: &[DoubleDouble],
    degree: Option<usize>,
    resolution_force: f64,
) -> Result<E74Fit, E74Error> {
    if let Some(found) = degree.filter(|d| !(1..=DEGREE_MAX).contains(d)) {
        return Err(E74Error::Degree { found });
    }
    let loaded = force.iter().zip(deflection).filter(|(f, _)| f.to_f64() != 0.0);
    let (force, deflection): (Vec<DoubleDouble>, Vec<DoubleDouble>) = loaded.map(|(f, d)| (*f, *d)).unzip();
    let least = degree.unwrap_or(1);
    if force.len() < least + 2 {
        return Err(E74Error::TooFew { degree: least, expected: least + 2, found: force.len() });
    }
    let without = deflection.iter().filter(|d| d.to_f64() == 0.0).count();
    if without > 0 {
        return Err(E74Error::NoDeflection { found: without });
    }
    let (degree_steps, degree_by_rule) = degree_rule(&force, &deflection)?;
    let polynomial = fit_polynomial_exact(&force, &deflection, degree.unwrap_or(degree_by_rule), None)?;
    let residual_sd = polynomial.centred.residual_sd().unwrap_or(f64::NAN);
    let ratios: DoubleDouble = force.iter().zip(&deflection).map(|(f, d)| *f / *d).sum();
    let force_per_deflection = ratios.to_f64() / force.len() as f64;
    let llf_deflection = LLF_SDS * residual_sd;
    let by_scatter = (llf_deflection * force_per_deflection).abs();
    let llf_force = by_scatter.max(resolution_force);
    let lowest = force.iter().map(|f| f.to_f64().abs()).fold(f64::INFINITY, f64::min);
    let highest = force.iter().map(|f| f.to_f64().abs()).fold(0.0, f64::max);
    Ok(E74Fit {
        polynomial,
        residual_sd,
        degree_steps,
        degree_by_rule,
        llf_deflection,
        llf_force,
        resolution_governs: resolution_force > by_scatter,
        force_per_deflection,
        class_a_from: (CLASS_A_FACTORS * llf_force).max(lowest),
        class_aa_from: (CLASS_AA_FACTORS * llf_force).max(lowest),
        forces: (lowest, highest),
    })
}

/// Annex A1: from the highest degree down, the first that lowers the residual SD of the means by more than
/// its limit.
fn degree_rule(
    force: &[DoubleDouble],
    deflection: &[DoubleDouble],
) -> Result<(Vec<DegreeStep>, usize), PolynomialError> {
    let (x, y) = means(force, deflection);
    let n = x.len();
    let greatest = y.iter().map(|y| y.to_f64().abs()).fold(0.0, f64::max);
    let mut steps: Vec<DegreeStep> = Vec::new();
    for degree in 1..=DEGREE_MAX {
        if n < degree + 2 {
            break;
        }
        let sd = fit_polynomial_exact(&x, &y, degree, None)?.centred.residual_sd().unwrap_or(0.0);
        // Points that lie on a line to the last digit leave rounding only, which no degree can lower.
        let sd = if sd < 1e-13 * greatest { 0.0 } else { sd };
        let below = steps.last().map(|s| s.residual_sd_of_means);
        let ratio = below.map(|b| if b == 0.0 { 1.0 } else { b / sd });
        let limit = degree_limit(n, degree).filter(|_| degree > 1);
        steps.push(DegreeStep { degree, residual_sd_of_means: sd, ratio, limit });
    }
    let kept = |s: &&DegreeStep| matches!((s.ratio, s.limit), (Some(r), Some(l)) if r > l);
    let by_rule = steps.iter().rev().find(kept).map_or(1, |s| s.degree);
    Ok((steps, by_rule))
}

/// Mean deflection at each different force, ascending.
fn means(force: &[DoubleDouble], deflection: &[DoubleDouble]) -> (Vec<DoubleDouble>, Vec<DoubleDouble>) {
    let mut points: Vec<(DoubleDouble, DoubleDouble)> =
        force.iter().copied().zip(deflection.iter().copied()).collect();
    points.sort_by(|a, b| a.0.to_f64().total_cmp(&b.0.to_f64()));
    let same = points.chunk_by(|a, b| a.0.to_f64() == b.0.to_f64());
    same.map(|c| {
        let sum: DoubleDouble = c.iter().map(|p| p.1).sum();
        (c[0].0, sum / DoubleDouble::from(c.len() as f64))
    })
    .unzip()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(v: &[f64]) -> Vec<DoubleDouble> {
        v.iter().map(|v| DoubleDouble::from(*v)).collect()
    }

    #[test]
    fn points_on_a_line_keep_degree_one_and_the_resolution_governs() {
        let force = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0];
        let deflection: Vec<f64> = force.iter().map(|f| 100.0 * f).collect();
        let fit = fit_e74(&exact(&force), &exact(&deflection), None, 0.01).unwrap();
        assert_eq!((fit.degree_by_rule, fit.polynomial.degree(), fit.resolution_governs), (1, 1, true));
        assert!((fit.class_aa_from - 20.0).abs() < 1e-12 && fit.class_a_from == 10.0);
        assert_eq!(fit.forces, (10.0, 60.0));
    }

    #[test]
    fn wrong_degrees_and_too_few_loads_are_refused() {
        let (f, d) = (exact(&[0.0, 1.0, 2.0]), exact(&[0.0, 1.0, 2.0]));
        assert!(matches!(fit_e74(&f, &d, Some(6), 0.0), Err(E74Error::Degree { found: 6 })));
        assert!(matches!(fit_e74(&f, &d, None, 0.0), Err(E74Error::TooFew { found: 2, .. })));
        let (f, d) = (exact(&[1.0, 2.0, 3.0]), exact(&[0.0, 1.0, 2.0]));
        assert!(matches!(fit_e74(&f, &d, None, 0.0), Err(E74Error::NoDeflection { found: 1 })));
    }
}
