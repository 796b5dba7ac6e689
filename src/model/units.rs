//! Quantities as types, and the exact factors between the units people use.
//!
//! Inside everything is SI: newtons and newton metres. A raw ADC code is `Counts` and never mixes with
//! a quantity. Factors are exact by definition: 1 lbf = 4.4482216152605 N (the avoirdupois pound of
//! 0.45359237 kg times standard gravity 9.80665 m/s²), 1 ft = 0.3048 m.
//! This room must not know where a value came from.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Newtons in one pound-force, exact.
pub const N_PER_LBF: f64 = 4.448_221_615_260_5;
/// Newton metres in one pound-force foot, exact (`N_PER_LBF` × 0.3048 m).
pub const NM_PER_LBF_FT: f64 = 1.355_817_948_331_400_4;
/// Metres in one inch, exact.
pub const M_PER_IN: f64 = 0.0254;
/// Pascals in one pound-force per square inch, exact to double precision.
pub const PA_PER_PSI: f64 = 6_894.757_293_168_361;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize, ToSchema)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// The bare number in the SI unit of the type.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

quantity!(
    /// A force in newtons: the tension in the test bolt.
    Newtons
);
quantity!(
    /// A torque in newton metres: always the equivalent steady torque, never a blow's.
    NewtonMetres
);

/// A raw ADC code as the amplifier sent it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Counts(pub i32);

impl Newtons {
    /// From kilonewtons.
    #[must_use]
    pub fn from_kn(kn: f64) -> Self {
        Self(kn * 1000.0)
    }

    /// In kilonewtons.
    #[must_use]
    pub fn kn(self) -> f64 {
        self.0 / 1000.0
    }

    /// From pounds-force.
    #[must_use]
    pub fn from_lbf(lbf: f64) -> Self {
        Self(lbf * N_PER_LBF)
    }

    /// In pounds-force.
    #[must_use]
    pub fn lbf(self) -> f64 {
        self.0 / N_PER_LBF
    }
}

impl NewtonMetres {
    /// From pound-force feet.
    #[must_use]
    pub fn from_lbf_ft(lbf_ft: f64) -> Self {
        Self(lbf_ft * NM_PER_LBF_FT)
    }

    /// In pound-force feet.
    #[must_use]
    pub fn lbf_ft(self) -> f64 {
        self.0 / NM_PER_LBF_FT
    }
}

/// What a dial marked in psi really shows; the operator is asked, because the mark does not say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "reads", deny_unknown_fields)]
pub enum PsiDial {
    /// The dial is scaled in force: its figures are pounds-force.
    Force,
    /// The dial shows oil pressure under a piston of this area in square inches.
    OilPressure {
        /// Piston area, square inches, greater than zero.
        piston_area_in2: f64,
    },
}

/// Why a tension typed by a person was not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EntryError {
    /// No number at the start, or not a finite one.
    #[error(
        "cannot read a tension from '{0}': expected a number and a unit such as '81.5 kN' or '18300 lbf'"
    )]
    NotANumber(String),
    /// A unit this program does not know.
    #[error("cannot read a tension from '{entry}': expected the unit kN, N, lbf or psi, found '{unit}'")]
    UnknownUnit {
        /// What was typed.
        entry: String,
        /// The part taken for the unit.
        unit: String,
    },
    /// psi is a mark, not yet a force.
    #[error(
        "cannot take '{0}' as a tension yet: does the dial read force (then it is lbf) or oil pressure (then the piston area is needed)?"
    )]
    WhichPsi(String),
    /// The piston area is not a positive number.
    #[error("cannot turn psi into a force: expected a piston area in square inches above zero, found {0}")]
    PistonArea(f64),
}

/// Reads a tension as a person types it: `81.5 kN`, `18300 lbf`, `500 N`, `2500 psi`.
///
/// # Errors
/// A missing or non-finite number, an unknown unit, and psi without `psi` saying what the dial reads.
pub fn parse_tension(entry: &str, psi: Option<PsiDial>) -> Result<Newtons, EntryError> {
    let text = entry.trim();
    let split =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let (number, unit) = text.split_at(split);
    let value: f64 = number.parse().map_err(|_| EntryError::NotANumber(entry.to_owned()))?;
    match unit.trim() {
        "kN" => Ok(Newtons::from_kn(value)),
        "N" => Ok(Newtons(value)),
        "lbf" | "lb" => Ok(Newtons::from_lbf(value)),
        "psi" => match psi {
            None => Err(EntryError::WhichPsi(entry.to_owned())),
            Some(PsiDial::Force) => Ok(Newtons::from_lbf(value)),
            Some(PsiDial::OilPressure { piston_area_in2 }) if piston_area_in2 > 0.0 => {
                Ok(Newtons::from_lbf(value * piston_area_in2))
            }
            Some(PsiDial::OilPressure { piston_area_in2 }) => Err(EntryError::PistonArea(piston_area_in2)),
        },
        other => Err(EntryError::UnknownUnit { entry: entry.to_owned(), unit: other.to_owned() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_are_the_exact_definitions() {
        // International yard and pound agreement, 1959: lb = 0.45359237 kg, ft = 0.3048 m; g_n = 9.80665 m/s².
        assert_eq!(N_PER_LBF, 0.453_592_37 * 9.806_65);
        assert!((NM_PER_LBF_FT - N_PER_LBF * 0.3048).abs() < 1e-15);
        assert!((PA_PER_PSI - N_PER_LBF / (0.0254 * 0.0254)).abs() < 1e-8);
    }

    #[test]
    fn psi_is_refused_until_the_dial_is_known() {
        // Common practice, no source: a dial marked psi may show force or oil pressure.
        assert!(matches!(parse_tension("2500 psi", None), Err(EntryError::WhichPsi(_))));
        assert_eq!(parse_tension("2500 psi", Some(PsiDial::Force)), Ok(Newtons::from_lbf(2500.0)));
        let oil = PsiDial::OilPressure { piston_area_in2: 4.0 };
        assert_eq!(parse_tension("2500psi", Some(oil)), Ok(Newtons::from_lbf(10_000.0)));
        let none = PsiDial::OilPressure { piston_area_in2: 0.0 };
        assert!(matches!(parse_tension("2500 psi", Some(none)), Err(EntryError::PistonArea(_))));
    }

    #[test]
    fn a_tension_needs_a_number_and_a_known_unit() {
        assert_eq!(parse_tension("81.5 kN", None), Ok(Newtons(81_500.0)));
        assert!(matches!(parse_tension("kN", None), Err(EntryError::NotANumber(_))));
        assert!(matches!(parse_tension("5 bar", None), Err(EntryError::UnknownUnit { .. })));
        assert!(matches!(parse_tension("5", None), Err(EntryError::UnknownUnit { .. })));
    }
}
