//! Test bolts: the bolt, nut, washers and lubricant in the rig, with the figures a run needs.
//!
//! The bolt factor (tension over equivalent torque) may be given as a ratio or as a nut factor K with
//! T = K·d·F (e.g. Shigley, Mechanical Engineering Design, eq. 8-27); a factor that means an impossible
//! K is refused, because that is how a slip of the unit shows. How a factor is measured is not known here.

use super::name::{NameError, check_optional, check_text};
use crate::constants::BoltFactor;
use crate::control::BoltInForce;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Least and most nut factor that is believed: waxed parts lie near 0.08, dry rusted ones near 0.45.
pub const NUT_FACTOR_RANGE: std::ops::RangeInclusive<f64> = 0.05..=0.6;
/// Least and most nominal diameter, millimetres.
pub const DIAMETER_MM_RANGE: std::ops::RangeInclusive<f64> = 3.0..=200.0;
/// Greatest allowed tension, kilonewtons.
pub const ALLOWED_KN_MAX: f64 = 10_000.0;

/// The bolt factor as the user gave it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "given", rename_all = "kebab-case", deny_unknown_fields)]
pub enum GivenFactor {
    /// Newtons per newton metre.
    Ratio {
        /// N per N·m.
        #[serde(rename = "factor_N_per_Nm")]
        n_per_nm: f64,
    },
    /// Pounds-force per pound-force foot.
    RatioLbf {
        /// lbf per lbf·ft.
        #[serde(rename = "factor_lbf_per_lbf_ft")]
        lbf_per_lbf_ft: f64,
    },
    /// Nut factor K of T = K·d·F, with the bolt's nominal diameter.
    NutFactor {
        /// K, no unit.
        nut_factor: f64,
    },
    /// Measured with a hand wrench over separate tightenings.
    Measured {
        /// Mean of the ratios, N per N·m.
        #[serde(rename = "factor_N_per_Nm")]
        n_per_nm: f64,
        /// SD of the ratios between tightenings, N per N·m.
        #[serde(rename = "sd_N_per_Nm")]
        sd_n_per_nm: f64,
        /// Tightenings.
        tightenings: u32,
        /// Expanded uncertainty (k = 2) of the hand wrench, percent of the torque.
        wrench_uncertainty_percent: f64,
    },
}

/// One test bolt.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TestBolt {
    /// Its name, unique among test bolts.
    pub name: String,
    /// Thread as marked, free text such as `M20x2.5`.
    pub thread: String,
    /// Nominal diameter, millimetres, 3 to 200.
    pub diameter_mm: f64,
    /// Bolt factor; none: torque stays null.
    #[serde(default)]
    pub factor: Option<GivenFactor>,
    /// Tension that must not be passed, kN, 0 < F <= 10,000; none is the standing state "no limit set".
    #[serde(default, rename = "allowed_kN")]
    pub allowed_kn: Option<f64>,
    /// Lubricant, free text; none: not known.
    #[serde(default)]
    pub lubricant: Option<String>,
    /// Property class or grade as marked, such as `8.8`; none: not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub class: Option<String>,
    /// Tightenings after which the bolt is due to be looked at, cleaned or measured anew; none: no limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub due_after: Option<u32>,
    /// Where a measured factor comes from: wrench, its certificate, the day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub factor_source: Option<String>,
}

/// Why a test bolt was not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BoltError {
    /// A name, thread or lubricant.
    #[error(transparent)]
    Text(#[from] NameError),
    /// Diameter out of range.
    #[error("test bolt '{name}': expected diameter_mm from 3 to 200, found {found}")]
    Diameter {
        /// The bolt.
        name: String,
        /// What was given.
        found: f64,
    },
    /// Allowed tension out of range.
    #[error("test bolt '{name}': expected allowed_kN above 0 and at most 10000, found {found}")]
    Allowed {
        /// The bolt.
        name: String,
        /// What was given.
        found: f64,
    },
    /// A measured factor whose scatter cannot be.
    #[error("test bolt '{name}': expected {expected} of a measured factor, found {found}")]
    Measured {
        /// The bolt.
        name: String,
        /// What would do.
        expected: &'static str,
        /// What was given.
        found: f64,
    },
    /// Due after no tightening at all.
    #[error("test bolt '{name}': expected due_after of at least 1, found 0")]
    Due {
        /// The bolt.
        name: String,
    },
    /// The factor is no positive number or means an impossible friction.
    #[error(
        "test bolt '{name}': expected a bolt factor that means a nut factor from 0.05 to 0.6 at {diameter_mm} mm, found a nut factor of {found:.4}"
    )]
    Factor {
        /// The bolt.
        name: String,
        /// Its diameter.
        diameter_mm: f64,
        /// The nut factor that the given value means.
        found: f64,
    },
}

impl TestBolt {
    /// Checks texts and ranges.
    ///
    /// # Errors
    /// See [`BoltError`].
    pub fn check(&self) -> Result<(), BoltError> {
        check_text("test bolt name", &self.name)?;
        check_text("thread", &self.thread)?;
        check_optional("lubricant", self.lubricant.as_deref())?;
        check_optional("class", self.class.as_deref())?;
        check_optional("factor_source", self.factor_source.as_deref())?;
        if self.due_after == Some(0) {
            return Err(BoltError::Due { name: self.name.clone() });
        }
        self.check_measured()?;
        if !DIAMETER_MM_RANGE.contains(&self.diameter_mm) {
            return Err(BoltError::Diameter { name: self.name.clone(), found: self.diameter_mm });
        }
        if let Some(found) = self.allowed_kn
            && !(found > 0.0 && found <= ALLOWED_KN_MAX)
        {
            return Err(BoltError::Allowed { name: self.name.clone(), found });
        }
        if let Some(given) = self.factor {
            let found = match given {
                GivenFactor::NutFactor { nut_factor } => nut_factor,
                _ => self.factor_of(given).nut_factor(self.diameter_m()),
            };
            if !NUT_FACTOR_RANGE.contains(&found) {
                return Err(BoltError::Factor {
                    name: self.name.clone(),
                    diameter_mm: self.diameter_mm,
                    found,
                });
            }
        }
        Ok(())
    }

    /// The bolt with its factor worked out, as a run remembers it.
    ///
    /// # Errors
    /// A bolt that fails its check.
    pub fn in_force(&self) -> Result<BoltInForce, BoltError> {
        self.check()?;
        Ok(BoltInForce {
            name: self.name.clone(),
            factor: self.factor.map(|given| self.factor_of(given)),
            allowed_kn: self.allowed_kn,
        })
    }

    fn check_measured(&self) -> Result<(), BoltError> {
        let Some(GivenFactor::Measured { n_per_nm, sd_n_per_nm, tightenings, wrench_uncertainty_percent }) =
            self.factor
        else {
            return Ok(());
        };
        let wrong = |expected, found| BoltError::Measured { name: self.name.clone(), expected, found };
        if !(sd_n_per_nm >= 0.0 && sd_n_per_nm < n_per_nm) {
            return Err(wrong("sd_N_per_Nm from 0 to under the factor", sd_n_per_nm));
        }
        if tightenings < 3 {
            return Err(wrong("at least 3 tightenings", f64::from(tightenings)));
        }
        if !(wrench_uncertainty_percent > 0.0 && wrench_uncertainty_percent <= 20.0) {
            return Err(wrong(
                "wrench_uncertainty_percent above 0 and at most 20",
                wrench_uncertainty_percent,
            ));
        }
        Ok(())
    }

    fn diameter_m(&self) -> f64 {
        self.diameter_mm / 1000.0
    }

    fn factor_of(&self, given: GivenFactor) -> BoltFactor {
        match given {
            GivenFactor::Ratio { n_per_nm } | GivenFactor::Measured { n_per_nm, .. } => BoltFactor(n_per_nm),
            GivenFactor::RatioLbf { lbf_per_lbf_ft } => BoltFactor::from_lbf_per_lbf_ft(lbf_per_lbf_ft),
            GivenFactor::NutFactor { nut_factor } => {
                BoltFactor::from_nut_factor(nut_factor, self.diameter_m())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bolt(factor: Option<GivenFactor>) -> TestBolt {
        TestBolt {
            name: "bolt A".into(),
            thread: "M20x2.5".into(),
            diameter_mm: 20.0,
            factor,
            allowed_kn: Some(140.0),
            lubricant: None,
            class: None,
            due_after: None,
            factor_source: None,
        }
    }

    #[test]
    fn a_measured_factor_says_how_far_it_scatters() {
        let measured = |sd, tightenings, percent| {
            bolt(Some(GivenFactor::Measured {
                n_per_nm: 250.0,
                sd_n_per_nm: sd,
                tightenings,
                wrench_uncertainty_percent: percent,
            }))
            .check()
        };
        assert_eq!(measured(9.0, 5, 4.0), Ok(()));
        assert_eq!(bolt(None).in_force().unwrap().factor, None);
        for bad in
            [measured(-1.0, 5, 4.0), measured(250.0, 5, 4.0), measured(9.0, 2, 4.0), measured(9.0, 5, 0.0)]
        {
            assert!(matches!(bad, Err(BoltError::Measured { .. })), "{bad:?}");
        }
        let never = TestBolt { due_after: Some(0), ..bolt(None) };
        assert!(matches!(never.check(), Err(BoltError::Due { .. })));
    }

    #[test]
    fn the_three_ways_to_give_a_factor_agree() {
        // T = K·d·F: K = 0.2 at 20 mm is 1/(0.2 × 0.02 m) = 250 N per N·m = 76.2 lbf per lbf·ft.
        for given in [
            GivenFactor::NutFactor { nut_factor: 0.2 },
            GivenFactor::Ratio { n_per_nm: 250.0 },
            GivenFactor::RatioLbf { lbf_per_lbf_ft: 250.0 * 0.3048 },
        ] {
            let in_force = bolt(Some(given)).in_force().unwrap();
            assert!((in_force.factor.unwrap().0 - 250.0).abs() < 1e-9, "{given:?}");
            assert_eq!(in_force.allowed_kn, Some(140.0));
        }
        assert_eq!(bolt(None).in_force().unwrap().factor, None);
    }

    #[test]
    fn a_factor_that_means_an_impossible_friction_is_refused() {
        for given in [
            GivenFactor::Ratio { n_per_nm: 2.5 },
            GivenFactor::Ratio { n_per_nm: 0.0 },
            GivenFactor::Ratio { n_per_nm: -250.0 },
            GivenFactor::Ratio { n_per_nm: f64::NAN },
            GivenFactor::RatioLbf { lbf_per_lbf_ft: 2500.0 },
            GivenFactor::NutFactor { nut_factor: 20.0 },
            GivenFactor::NutFactor { nut_factor: 0.0 },
        ] {
            assert!(matches!(bolt(Some(given)).in_force(), Err(BoltError::Factor { .. })), "{given:?}");
        }
        assert_eq!(
            bolt(Some(GivenFactor::Ratio { n_per_nm: 2.5 })).check().unwrap_err().to_string(),
            "test bolt 'bolt A': expected a bolt factor that means a nut factor from 0.05 to 0.6 at 20 mm, \
             found a nut factor of 20.0000"
        );
    }

    #[test]
    fn diameter_and_allowed_tension_have_limits() {
        for bad in [0.0, 2.9, 200.1, f64::NAN] {
            let bolt = TestBolt { diameter_mm: bad, ..bolt(None) };
            assert!(matches!(bolt.check(), Err(BoltError::Diameter { .. })));
        }
        for bad in [0.0, -1.0, 10_000.5, f64::NAN] {
            let bolt = TestBolt { allowed_kn: Some(bad), ..bolt(None) };
            assert!(matches!(bolt.check(), Err(BoltError::Allowed { .. })));
        }
    }

    #[test]
    fn json_says_how_the_factor_was_given() {
        let json = r#"{"name":"b","thread":"1 1/4-7","diameter_mm":31.75,
            "factor":{"given":"ratio-lbf","factor_lbf_per_lbf_ft":70},"allowed_kN":200}"#;
        let bolt: TestBolt = serde_json::from_str(json).unwrap();
        assert_eq!(bolt.factor, Some(GivenFactor::RatioLbf { lbf_per_lbf_ft: 70.0 }));
        assert_eq!(bolt.check(), Ok(()));
        assert!(serde_json::from_str::<TestBolt>(&json.replace("allowed_kN", "allowed_lbf")).is_err());
    }
}
