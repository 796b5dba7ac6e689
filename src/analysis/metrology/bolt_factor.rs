//! The bolt factor from tightenings with a calibrated hand wrench: tension over torque.
//!
//! One ratio a tightening, because friction changes between tightenings and not within one. The factor is
//! their mean, its SD that between tightenings. Whether torque and tension go through zero together is
//! tested, because a ratio means little where they do not. It holds for the bolt, lubricant and number of
//! tightenings it was taken at: friction of reused parts moves by tens of percent.

use boltscribe_model::constants::BoltFactor;
use boltscribe_model::units::{NewtonMetres, Newtons};
use boltscribe_numerics::distributions::t_two_sided;
use boltscribe_numerics::{Moments, fit_polynomial, moments};

/// Fewest tightenings.
pub const TIGHTENINGS_MIN: usize = 3;

/// One reading of a tightening.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Shown or set on the wrench.
    pub torque: NewtonMetres,
    /// In the bolt at that torque.
    pub tension: Newtons,
}

/// A measured bolt factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredFactor {
    /// Mean of the ratios.
    pub factor: BoltFactor,
    /// Separate tightenings.
    pub tightenings: usize,
    /// SD of the ratios between tightenings, N per N·m.
    pub sd: f64,
    /// Standard uncertainty of the mean: SD over the root of their number, N per N·m.
    pub standard_error: f64,
    /// Tightenings less one.
    pub degrees_of_freedom: usize,
    /// Whether tension at zero torque differs from zero; none where the readings cannot tell.
    pub intercept: Option<Intercept>,
}

/// Test of the tension that the line has at zero torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intercept {
    /// Tension at zero torque.
    pub tension: Newtons,
    /// Its standard error.
    pub standard_error: Newtons,
    /// Student's t.
    pub t: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: usize,
    /// Two-sided p: small where the ratio depends on the torque at which it was taken.
    pub p_value: f64,
}

/// Why readings give no bolt factor.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BoltFactorError {
    /// Too few.
    #[error("bolt factor: expected at least {TIGHTENINGS_MIN} separate tightenings, found {found}")]
    TooFew {
        /// How many.
        found: usize,
    },
    /// A tightening without readings.
    #[error("bolt factor, tightening {tightening}: expected at least one reading, found none")]
    Empty {
        /// Counted from 1.
        tightening: usize,
    },
    /// Not above zero.
    #[error("bolt factor, tightening {tightening}: expected {quantity} above 0, found {found}")]
    Value {
        /// Counted from 1.
        tightening: usize,
        /// Which, with its unit.
        quantity: &'static str,
        /// What is there.
        found: f64,
    },
}

/// Finds the bolt factor of separate tightenings, each with one or more readings.
///
/// # Errors
/// Fewer than three tightenings, one without readings, values that are not above zero.
pub fn measure(tightenings: &[Vec<Reading>]) -> Result<MeasuredFactor, BoltFactorError> {
    let found = tightenings.len();
    if found < TIGHTENINGS_MIN {
        return Err(BoltFactorError::TooFew { found });
    }
    for (i, readings) in tightenings.iter().enumerate() {
        let tightening = i + 1;
        if readings.is_empty() {
            return Err(BoltFactorError::Empty { tightening });
        }
        for r in readings {
            for (quantity, found) in
                [("a torque in N·m", r.torque.get()), ("a tension in N", r.tension.get())]
            {
                if !(found.is_finite() && found > 0.0) {
                    return Err(BoltFactorError::Value { tightening, quantity, found });
                }
            }
        }
    }
    let ratio = |readings: &Vec<Reading>| {
        readings.iter().map(|r| r.tension.get() / r.torque.get()).sum::<f64>() / readings.len() as f64
    };
    let ratios: Vec<f64> = tightenings.iter().map(ratio).collect();
    let Some(Moments { mean, sd: Some(sd), .. }) = moments(&ratios) else {
        return Err(BoltFactorError::TooFew { found });
    };
    Ok(MeasuredFactor {
        factor: BoltFactor(mean),
        tightenings: found,
        sd,
        standard_error: sd / libm::sqrt(found as f64),
        degrees_of_freedom: found - 1,
        intercept: intercept(tightenings),
    })
}

/// Where each tightening was read at two or more torques, its own line gives an intercept and these are
/// tested together; else one line through all readings is.
fn intercept(tightenings: &[Vec<Reading>]) -> Option<Intercept> {
    let line = |readings: &[Reading]| {
        let x: Vec<f64> = readings.iter().map(|r| r.torque.get()).collect();
        let y: Vec<f64> = readings.iter().map(|r| r.tension.get()).collect();
        fit_polynomial(&x, &y, 1, None).ok()
    };
    let own: Option<Vec<f64>> = tightenings.iter().map(|t| line(t).map(|l| l.coefficients[0])).collect();
    let (tension, error, freedom) = if let Some(own) = own {
        let m = moments(&own)?;
        (m.mean, m.sd? / libm::sqrt(own.len() as f64), own.len() - 1)
    } else if tightenings.iter().all(|t| t.len() == 1) {
        let all: Vec<Reading> = tightenings.iter().flatten().copied().collect();
        let fit = line(&all)?;
        (fit.coefficients[0], *fit.standard_errors()?.first()?, fit.centred.degrees_of_freedom)
    } else {
        return None;
    };
    let t = tension / error;
    t.is_finite().then(|| Intercept {
        tension: Newtons(tension),
        standard_error: Newtons(error),
        t,
        degrees_of_freedom: freedom,
        p_value: t_two_sided(t, freedom as f64),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(torque: f64, tension: f64) -> Reading {
        Reading { torque: NewtonMetres(torque), tension: Newtons(tension) }
    }

    #[test]
    fn the_factor_is_the_mean_of_the_ratios_of_tightenings() {
        let t =
            [vec![reading(100.0, 30_000.0)], vec![reading(200.0, 64_000.0)], vec![reading(150.0, 46_500.0)]];
        let found = measure(&t).unwrap();
        assert!((found.factor.0 - 310.0).abs() < 1e-12);
        assert!(
            (found.sd - 10.0).abs() < 1e-12 && (found.standard_error - 10.0 / 3.0_f64.sqrt()).abs() < 1e-12
        );
        assert_eq!((found.degrees_of_freedom, found.intercept.unwrap().degrees_of_freedom), (2, 1));
    }

    #[test]
    fn tension_left_at_zero_torque_is_found_when_each_tightening_has_two_torques() {
        let offset = |e: f64| vec![reading(100.0, 32_000.0 + e), reading(200.0, 62_000.0 - e)];
        let found = measure(&[offset(10.0), offset(-10.0), offset(20.0), offset(-20.0)]).unwrap();
        let intercept = found.intercept.unwrap();
        assert!((intercept.tension.0 - 2000.0).abs() < 1e-9);
        assert!(intercept.p_value < 1e-4 && intercept.degrees_of_freedom == 3);
    }

    #[test]
    fn one_torque_only_cannot_tell_of_an_intercept() {
        let t = vec![
            vec![reading(100.0, 30_000.0)],
            vec![reading(100.0, 31_000.0)],
            vec![reading(100.0, 32_000.0)],
        ];
        assert_eq!(measure(&t).unwrap().intercept, None);
        assert_eq!(measure(&t[..2]).unwrap_err(), BoltFactorError::TooFew { found: 2 });
        let zero = [t[0].clone(), vec![], t[1].clone()];
        assert_eq!(measure(&zero).unwrap_err(), BoltFactorError::Empty { tightening: 2 });
        let negative = [t[0].clone(), t[1].clone(), vec![reading(-1.0, 5.0)]];
        assert!(matches!(measure(&negative), Err(BoltFactorError::Value { tightening: 3, .. })));
    }
}
