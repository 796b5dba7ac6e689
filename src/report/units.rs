//! The units of a report: newtons or pounds-force, with the torque that goes with each.
//!
//! Factors are exact (see `boltscribe_model::units`). Must not know what is reported.

use boltscribe_model::units::{N_PER_LBF, NM_PER_LBF_FT};
use serde::Deserialize;
use utoipa::ToSchema;

/// Units of a report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
pub enum Units {
    /// kN and N·m.
    #[default]
    #[serde(rename = "kN")]
    Newtons,
    /// lbf and lbf·ft.
    #[serde(rename = "lbf")]
    Pounds,
}

impl Units {
    /// Name of the unit of tension.
    #[must_use]
    pub const fn force(self) -> &'static str {
        match self {
            Self::Newtons => "kN",
            Self::Pounds => "lbf",
        }
    }

    /// Name of the unit of torque.
    #[must_use]
    pub const fn torque(self) -> &'static str {
        match self {
            Self::Newtons => "N·m",
            Self::Pounds => "lbf·ft",
        }
    }

    /// A tension in kN, in this unit.
    #[must_use]
    pub fn of_kn(self, kn: f64) -> f64 {
        match self {
            Self::Newtons => kn,
            Self::Pounds => 1000.0 * kn / N_PER_LBF,
        }
    }

    /// A torque in N·m, in this unit.
    #[must_use]
    pub fn of_nm(self, nm: f64) -> f64 {
        match self {
            Self::Newtons => nm,
            Self::Pounds => nm / NM_PER_LBF_FT,
        }
    }

    /// A tension as it is written: hundredths of a kN, whole lbf.
    #[must_use]
    pub fn tension(self, kn: f64) -> String {
        match self {
            Self::Newtons => format!("{kn:.2}"),
            Self::Pounds => format!("{:.0}", self.of_kn(kn)),
        }
    }

    /// A torque as it is written.
    #[must_use]
    pub fn written_torque(self, nm: f64) -> String {
        format!("{:.1}", self.of_nm(nm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pounds_follow_the_exact_factors() {
        // NIST SP 811 (2008) appendix B.8: 1 lbf = 4.448 222 N, 1 lbf·ft = 1.355 818 N·m.
        assert!((Units::Pounds.of_kn(4.448_222e-3) - 1.0).abs() < 1e-6);
        assert!((Units::Pounds.of_nm(1.355_818) - 1.0).abs() < 1e-6);
        assert_eq!(
            (Units::Newtons.tension(86.544), Units::Pounds.tension(86.54)),
            ("86.54".into(), "19455".into())
        );
    }
}
