//! Calibration and bolt factor as given values: what turns counts into newtons and newtons into
//! equivalent newton metres. How they were found is not known here.

use crate::units::{NewtonMetres, Newtons};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The line from counts to tension: a polynomial in counts, lowest power first, in kilonewtons.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// Name under which runs remember it.
    pub id: String,
    /// kN per count to the power of the index; 2 to 4 coefficients.
    #[serde(rename = "coefficients_kN")]
    pub coefficients_kn: Vec<f64>,
    /// Made from data-sheet figures, not against a reference: absolute figures are approximate.
    pub nominal: bool,
    /// Full tension range, kN, where known.
    #[serde(rename = "range_kN")]
    pub range_kn: Option<f64>,
}

/// Why a calibration cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Not 2 to 4 coefficients.
    #[error("calibration '{id}': expected 2 to 4 coefficients in kN, lowest power first, found {found}")]
    Degree {
        /// Which calibration.
        id: String,
        /// How many coefficients it has.
        found: usize,
    },
    /// NaN or infinite, or no slope at all.
    #[error(
        "calibration '{id}': expected finite coefficients with a slope that is not zero, found {found:?}"
    )]
    Value {
        /// Which calibration.
        id: String,
        /// The coefficients.
        found: Vec<f64>,
    },
    /// A line by which no converter measures a bolt.
    #[error(
        "calibration '{id}': expected a slope of 1e-12 to 1e6 kN a count and tensions within 1e9 kN over the counts \
         of 24 bits, found {found:?}"
    )]
    Unusable {
        /// Which calibration.
        id: String,
        /// The coefficients.
        found: Vec<f64>,
    },
    /// A range that is none.
    #[error("calibration '{id}': expected range_kN above 0 and at most 1e6, found {found}")]
    Range {
        /// Which calibration.
        id: String,
        /// The range, kN.
        found: f64,
    },
}

/// Least and greatest size of a slope, kN a count: far outside of what any converter and cell give.
const SLOPE_KN: (f64, f64) = (1e-12, 1e6);
/// Greatest size of a tension within the counts of 24 bits, kN.
const TENSION_MAX_KN: f64 = 1e9;
/// Counts of a converter of 24 bits on either side.
const COUNTS: f64 = 8_388_608.0;
/// Greatest full range, kN.
const RANGE_MAX_KN: f64 = 1e6;

impl Calibration {
    /// Checks degree (1 to 3) and values.
    ///
    /// # Errors
    /// Too few or many coefficients, a value that is not finite, a zero slope, a line or a range by which nothing is
    /// measured.
    pub fn check(&self) -> Result<(), CalibrationError> {
        if !(2..=4).contains(&self.coefficients_kn.len()) {
            return Err(CalibrationError::Degree { id: self.id.clone(), found: self.coefficients_kn.len() });
        }
        let finite = self.coefficients_kn.iter().all(|c| c.is_finite());
        if !finite || self.coefficients_kn[1] == 0.0 {
            return Err(CalibrationError::Value { id: self.id.clone(), found: self.coefficients_kn.clone() });
        }
        let tension = |counts: f64| self.coefficients_kn.iter().rev().fold(0.0, |sum, c| sum * counts + c);
        let slope = self.coefficients_kn[1].abs();
        let usable = (SLOPE_KN.0..=SLOPE_KN.1).contains(&slope)
            && [-COUNTS, 0.0, COUNTS].into_iter().all(|counts| tension(counts).abs() <= TENSION_MAX_KN);
        if !usable {
            return Err(CalibrationError::Unusable {
                id: self.id.clone(),
                found: self.coefficients_kn.clone(),
            });
        }
        match self.range_kn {
            Some(found) if !(found > 0.0 && found <= RANGE_MAX_KN) => {
                Err(CalibrationError::Range { id: self.id.clone(), found })
            }
            _ => Ok(()),
        }
    }
}

/// Tension over equivalent torque of one test bolt, newtons per newton metre (1/m).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
pub struct BoltFactor(pub f64);

impl BoltFactor {
    /// From the short torque form T = K·d·F: factor = 1/(K·d), d in metres.
    ///
    /// Source: e.g. Shigley, Mechanical Engineering Design, eq. 8-27 (T = K·F·d).
    #[must_use]
    pub fn from_nut_factor(nut_factor: f64, diameter_m: f64) -> Self {
        Self(1.0 / (nut_factor * diameter_m))
    }

    /// From a ratio in pounds-force per pound-force foot; 1 lbf/(lbf·ft) = 1/0.3048 N/(N·m).
    #[must_use]
    pub fn from_lbf_per_lbf_ft(ratio: f64) -> Self {
        Self(ratio / 0.3048)
    }

    /// As pounds-force per pound-force foot.
    #[must_use]
    pub fn lbf_per_lbf_ft(self) -> f64 {
        self.0 * 0.3048
    }

    /// The nut factor K this factor means for a bolt of nominal diameter `diameter_m`.
    #[must_use]
    pub fn nut_factor(self, diameter_m: f64) -> f64 {
        1.0 / (self.0 * diameter_m)
    }

    /// Equivalent torque: the steady torque that would give this tension on this bolt.
    #[must_use]
    pub fn torque(self, tension: Newtons) -> NewtonMetres {
        NewtonMetres(tension.0 / self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::M_PER_IN;

    #[test]
    fn seventy_lbf_per_lbf_ft_on_a_one_and_a_quarter_inch_bolt_is_a_nut_factor_of_0_137() {
        // Common practice, no source: a ratio of 70 lbf per lbf·ft for a 1 1/4 in bolt is K = 0.137.
        let diameter_m = 1.25 * M_PER_IN;
        let factor = BoltFactor::from_lbf_per_lbf_ft(70.0);
        assert!((factor.nut_factor(diameter_m) - 0.137).abs() < 0.0005);
        let back = BoltFactor::from_nut_factor(0.137, diameter_m);
        assert!((back.lbf_per_lbf_ft() - 70.0).abs() < 0.1);
    }

    #[test]
    fn a_line_or_a_range_by_which_nothing_is_measured_is_refused() {
        let line = |coefficients: &[f64], range_kn| Calibration {
            id: "c".into(),
            coefficients_kn: coefficients.to_vec(),
            nominal: true,
            range_kn,
        };
        for good in [&[0.0, 5e-5][..], &[-3.0, -2.4e-8], &[0.0, 1.0], &[0.1, 5e-5, 1e-13, -1e-20]] {
            assert_eq!(line(good, Some(200.0)).check(), Ok(()), "{good:?}");
        }
        for bad in
            [&[0.0, 1e300][..], &[0.0, 1e-300], &[1e300, 5e-5], &[0.0, 5e-5, 1e10], &[0.0, 5e-5, 0.0, 1.0]]
        {
            let error = line(bad, None).check();
            assert!(matches!(error, Err(CalibrationError::Unusable { .. })), "{bad:?}: {error:?}");
        }
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY, 2e6] {
            let error = line(&[0.0, 5e-5], Some(bad)).check();
            assert!(matches!(error, Err(CalibrationError::Range { .. })), "{bad}: {error:?}");
        }
    }

    #[test]
    fn a_calibration_without_a_slope_is_refused() {
        let mut c =
            Calibration { id: "c".into(), coefficients_kn: vec![0.0, 0.0], nominal: true, range_kn: None };
        assert!(matches!(c.check(), Err(CalibrationError::Value { .. })));
        c.coefficients_kn = vec![0.0];
        assert!(matches!(c.check(), Err(CalibrationError::Degree { .. })));
        c.coefficients_kn = vec![0.0, 1e-4];
        assert_eq!(c.check(), Ok(()));
    }
}
